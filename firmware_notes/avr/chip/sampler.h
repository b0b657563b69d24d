/* The millisecond and its sample: Timer 0 ticks at 1 kHz, and each tick starts OVERSAMPLES conversions one after the
 * other. Their sum is the sample of that millisecond. */
#ifndef SAMPLER_H
#define SAMPLER_H
#include <stdint.h>

struct passed {
    uint32_t counts_ms; /* the sum of the samples x 1 ms */
    uint16_t ms, sat_ms;
};

uint32_t sampler_begin(uint32_t seed); /* what the first conversions read is stirred into the seed */
void sampler_go(void);
uint8_t sampler_due(void);                  /* whether a millisecond passed since the last take */
void sampler_take(struct passed *passed);   /* what passed since */

#endif
