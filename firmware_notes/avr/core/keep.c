#include "keep.h"

#include <stddef.h>

#include "crc.h"

#define UNDER_WAY 0 /* in place of a checksum: this copy is being written, and no chance can make it hold */

static uint16_t crc_of_copy(const struct copy *copy)
{
    uint16_t crc = crc_of(copy, offsetof(struct copy, crc));
    return crc == UNDER_WAY ? 1 : crc;
}

/* A checksum of 16 bits lets one random memory in 65536 through; values that cannot be stop the rest. */
static bool can_be(const struct kept *kept)
{
    for (uint8_t i = 0; i < SLOTS; i++) {
        const struct slot *slot = kept->slots + i;
        if (slot->state > SLOT_SILENT || slot->pattern > PATTERN_LAST || slot->bursts > CALL_BURSTS + 1)
            return false;
        if (slot->state != SLOT_FREE && slot->pattern < PATTERN_FIRST)
            return false;
    }
    return kept->counts_ms <= REGISTER_MAX && kept->rate_millihz && kept->rate_millihz < 100000ul;
}

static bool holds(const struct copy *copy)
{
    return copy->crc == crc_of_copy(copy) && can_be(&copy->kept);
}

static bool second_is_newer(const struct keep *keep)
{
    return (int16_t)(uint16_t)(keep->copies[1].number - keep->copies[0].number) > 0;
}

/* The order of writes is the point, so the compiler must not change it. */
static void in_order(void)
{
    __asm__ volatile("" ::: "memory");
}

static void write(struct copy *copy, const struct kept *kept, uint16_t number)
{
    copy->crc = UNDER_WAY;
    in_order();
    copy->kept = *kept;
    copy->number = number;
    in_order();
    copy->crc = crc_of_copy(copy);
    in_order();
}

void keep_save(struct keep *keep, const struct kept *kept)
{
    bool newer = second_is_newer(keep);
    write(keep->copies + !newer, kept, (uint16_t)(keep->copies[newer].number + 1));
}

const struct kept *keep_find(struct keep *keep)
{
    bool newer = second_is_newer(keep);
    struct copy *found = keep->copies + newer, *other = keep->copies + !newer;
    if (!holds(found)) {
        if (!holds(other))
            return NULL;
        struct copy *spoiled = found;
        found = other;
        other = spoiled;
    }
    write(other, &found->kept, (uint16_t)(found->number - 1));
    return &found->kept;
}

void keep_spoil(struct keep *keep)
{
    for (uint8_t i = 0; i < 2; i++) {
        keep->copies[i].number = i;
        keep->copies[i].crc = UNDER_WAY;
    }
}
