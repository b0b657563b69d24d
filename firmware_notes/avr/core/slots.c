#include "slots.h"

void slots_disarm(struct slot *slots, uint8_t number, struct sound *sound)
{
    if (slots[number].state != SLOT_FREE && sound->owner == number)
        sound_end(sound);
    slots[number].state = SLOT_FREE;
}

void slots_arm(struct slot *slots, uint8_t number, uint64_t counts_ms, uint8_t pattern, struct sound *sound)
{
    const struct slot *slot = slots + number;
    if (slot->state != SLOT_FREE && slot->counts_ms == counts_ms && slot->pattern == pattern)
        return; /* told twice: what was acknowledged meanwhile does not call anew */
    slots_disarm(slots, number, sound);
    slots[number].counts_ms = counts_ms;
    slots[number].pattern = pattern;
    slots[number].state = SLOT_WAITS;
}

void slots_pass(struct slot *slots, uint64_t counts_ms, uint32_t now_ms, struct sound *sound)
{
    for (uint8_t i = 0; i < SLOTS; i++) {
        struct slot *slot = slots + i;
        if (slot->state == SLOT_WAITS && counts_ms >= slot->counts_ms) {
            slot->state = SLOT_CALLS;
            slot->bursts = 0;
            slot->reached_ms = now_ms;
            slot->next_ms = now_ms;
        }
        /* The difference is signed, so that it holds over the wrap of the 32 bits. */
        if (slot->state == SLOT_CALLS && (int32_t)(now_ms - slot->next_ms) >= 0) {
            if (slot->bursts++ == CALL_BURSTS) {
                slot->state = SLOT_SILENT;
                continue;
            }
            sound_begin(sound, slot->pattern, CALL_MS, i, slot->next_ms);
            slot->next_ms += CALL_EACH_MS;
        }
    }
}

void slots_hush(struct slot *slots, struct sound *sound)
{
    for (uint8_t i = 0; i < SLOTS; i++)
        if (slots[i].state == SLOT_CALLS)
            slots[i].state = SLOT_SILENT;
    if (sound->owner != OWNER_COMPUTER)
        sound_end(sound);
}

bool slots_wait(const struct slot *slots)
{
    for (uint8_t i = 0; i < SLOTS; i++)
        if (slots[i].state == SLOT_WAITS)
            return true;
    return false;
}

bool slots_reached(const struct slot *slots)
{
    for (uint8_t i = 0; i < SLOTS; i++)
        if (slots[i].state >= SLOT_CALLS)
            return true;
    return false;
}
