#include "node.h"

#include <string.h>

#include "reading.h"

#define PHASE_END 1000000ul /* thousandths of a line x ms in one line */

void node_begin(struct node *node, uint32_t boot, uint32_t rate_millihz)
{
    memset(node, 0, sizeof *node);
    node->kept.boot = boot;
    node->kept.rate_millihz = rate_millihz;
    node->sound.owner = OWNER_COMPUTER;
}

void node_resume(struct node *node, const struct kept *kept)
{
    node_begin(node, 0, 0);
    node->kept = *kept;
    node->flag_left_ms = KEPT_FLAG_MS;
}

uint8_t node_flags(const struct node *node)
{
    uint8_t flags = sound_on(&node->sound) ? FLAG_BUZZER : 0;
    if (slots_wait(node->kept.slots))
        flags |= FLAG_ARMED;
    if (slots_reached(node->kept.slots))
        flags |= FLAG_REACHED;
    if (node->flag_left_ms)
        flags |= FLAG_KEPT;
    return flags;
}

static void level_of(const struct node *node, struct reading *reading)
{
    const struct kept *kept = &node->kept;
    uint32_t span = kept->uptime_ms - kept->line_ms;
    uint32_t sum = (uint32_t)(kept->counts_ms - kept->line_counts_ms); /* of 10 s and a bit: fits */
    if (!span) {
        reading->level = node->last_level;
        reading->level_thousandths = 0;
        return;
    }
    reading->level = sum / span;
    reading->level_thousandths = (uint16_t)((sum % span * 1000u + span / 2) / span);
    if (reading->level_thousandths == 1000) {
        reading->level++;
        reading->level_thousandths = 0;
    }
}

void node_line(struct node *node, struct text *text)
{
    struct kept *kept = &node->kept;
    struct reading reading = {
        .boot = kept->boot,
        .seq = kept->seq++,
        .uptime_ms = kept->uptime_ms,
        .counts_ms = kept->counts_ms,
        .sat_ms = kept->sat_ms,
        .presses = kept->presses,
        .flags = node_flags(node),
    };
    level_of(node, &reading);
    kept->line_counts_ms = kept->counts_ms;
    kept->line_ms = kept->uptime_ms;
    reading_write(&reading, text);
}

void node_press(struct node *node, struct text *text)
{
    node->kept.presses++;
    slots_hush(node->kept.slots, &node->sound);
    node_line(node, text);
}

void node_heard(struct node *node)
{
    node->kept.chirp_at_ms = node->kept.uptime_ms + node->kept.lease_ms;
    node->chirp_left_ms = 0;
}

static void chirp_pass(struct node *node, uint16_t ms)
{
    struct kept *kept = &node->kept;
    node->chirp_left_ms = node->chirp_left_ms > ms ? (uint16_t)(node->chirp_left_ms - ms) : 0;
    if (!kept->lease_ms || (int32_t)(kept->uptime_ms - kept->chirp_at_ms) < 0)
        return;
    kept->chirp_at_ms += CHIRP_EACH_MS; /* goes on while nothing waits, so that it never lies half a wrap behind */
    if (slots_wait(kept->slots))
        node->chirp_left_ms = CHIRP_MS;
}

void node_pass(struct node *node, uint32_t counts_ms, uint16_t ms, uint16_t sat_ms, struct text *text)
{
    struct kept *kept = &node->kept;
    kept->uptime_ms += ms;
    kept->sat_ms += sat_ms;
    kept->counts_ms += counts_ms;
    if (kept->counts_ms > REGISTER_MAX) /* a line may not hold more; no light of this earth gets there */
        kept->counts_ms = REGISTER_MAX;
    if (ms)
        node->last_level = counts_ms / ms;
    node->flag_left_ms = node->flag_left_ms > ms ? (uint16_t)(node->flag_left_ms - ms) : 0;
    sound_pass(&node->sound, kept->uptime_ms);
    slots_pass(kept->slots, kept->counts_ms, kept->uptime_ms, &node->sound);
    chirp_pass(node, ms);
    kept->rate_phase += kept->rate_millihz * ms;
    if (kept->rate_phase >= PHASE_END) {
        kept->rate_phase %= PHASE_END;
        node_line(node, text);
    }
}

bool node_pin(const struct node *node)
{
    return node->chirp_left_ms || sound_pin(&node->sound, node->kept.uptime_ms);
}
