/* The four armed values, and the node's own call of one that was reached. */
#ifndef SLOTS_H
#define SLOTS_H
#include <stdbool.h>
#include <stdint.h>

#include "sound.h"

#define SLOTS 4
#define CALL_MS 10000ul
#define CALL_EACH_MS 30000ul
#define CALL_BURSTS 60 /* 30 min in each 30 s */

enum slot_state { SLOT_FREE, SLOT_WAITS, SLOT_CALLS, SLOT_SILENT }; /* silent: reached, and calls no more */

struct slot {
    uint64_t counts_ms;
    uint32_t reached_ms; /* uptime */
    uint32_t next_ms;    /* when its call sounds next */
    uint8_t state, pattern, bursts;
};

void slots_arm(struct slot *slots, uint8_t number, uint64_t counts_ms, uint8_t pattern, struct sound *sound);
void slots_disarm(struct slot *slots, uint8_t number, struct sound *sound);

/* Look at each of them: what was reached begins to call, what calls sounds when its time has come. */
void slots_pass(struct slot *slots, uint64_t counts_ms, uint32_t now_ms, struct sound *sound);

/* All calls of the node's own end, and what sounds for one of them. */
void slots_hush(struct slot *slots, struct sound *sound);

bool slots_wait(const struct slot *slots);
bool slots_reached(const struct slot *slots);

#endif
