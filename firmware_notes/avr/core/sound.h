/* What sounds now, and whether the buzzer's pin is high for it. */
#ifndef SOUND_H
#define SOUND_H
#include <stdbool.h>
#include <stdint.h>

#define PATTERN_FIRST 1
#define PATTERN_LAST 7
#define OWNER_COMPUTER 0xFF /* a `buzz`; else the slot whose call it is */

struct sound {
    uint32_t began_ms, lasts_ms; /* lasts_ms 0: silence */
    uint8_t pattern, owner;
};

void sound_begin(struct sound *sound, uint8_t pattern, uint32_t lasts_ms, uint8_t owner, uint32_t now_ms);
void sound_end(struct sound *sound);
void sound_pass(struct sound *sound, uint32_t now_ms); /* ends it when its time is over */
bool sound_on(const struct sound *sound);
bool sound_pin(const struct sound *sound, uint32_t now_ms);

/* The pin of a pattern `since_ms` after it began; it repeats for ever. */
bool pattern_pin(uint8_t pattern, uint32_t since_ms);

#endif
