/* The node: light is added up, lines fall due, armed values call, a computer that is gone is told by a chirp. Time comes
 * in as milliseconds that have passed; nothing here waits or reads a clock. */
#ifndef NODE_H
#define NODE_H
#include <stdbool.h>
#include <stdint.h>

#include "slots.h"
#include "sound.h"
#include "text.h"

#define REGISTER_MAX 0x7FFFFFFFFFFFFFFFull
#define KEPT_FLAG_MS 60000u
#define CHIRP_EACH_MS 10000u
#define CHIRP_MS 100u

/* What outlives a reset without power loss. */
struct kept {
    uint64_t counts_ms; /* the register; first, so that a debugger finds it at the node's own address */
    uint32_t uptime_ms;
    uint32_t boot, seq, sat_ms, presses;
    struct slot slots[SLOTS];
    uint64_t line_counts_ms; /* register, */
    uint32_t line_ms;        /* and uptime of the last line: the level is the mean between */
    uint32_t rate_millihz, rate_phase;
    uint32_t lease_ms, chirp_at_ms;
};

struct node {
    struct kept kept;
    struct sound sound;
    uint32_t last_level;   /* counts, of the last sample */
    uint16_t flag_left_ms; /* how long flag bit 3 stands yet */
    uint16_t chirp_left_ms;
};

void node_begin(struct node *node, uint32_t boot, uint32_t rate_millihz);

/* A reset kept this: go on from there. */
void node_resume(struct node *node, const struct kept *kept);

/* `ms` milliseconds passed (1 to 1000), each with a sample; counts_ms is the sum of the samples x 1 ms, and in sat_ms of
 * them the sensor was saturated. A line that falls due is added to text. */
void node_pass(struct node *node, uint32_t counts_ms, uint16_t ms, uint16_t sat_ms, struct text *text);

void node_line(struct node *node, struct text *text); /* a line at once */
void node_press(struct node *node, struct text *text);
void node_heard(struct node *node); /* a command came that was proved */
uint8_t node_flags(const struct node *node);
bool node_pin(const struct node *node);

#endif
