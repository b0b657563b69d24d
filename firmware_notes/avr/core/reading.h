/* One reading as a line: `uv1,<boot>,<seq>,<uptime_ms>,<level>,<register>,<sat_ms>,<presses>,<flags>*<crc>`. */
#ifndef READING_H
#define READING_H
#include <stdint.h>

#include "text.h"

#define FLAG_BUZZER 1u
#define FLAG_ARMED 2u
#define FLAG_REACHED 4u
#define FLAG_KEPT 8u

struct reading {
    uint32_t boot, seq, uptime_ms;
    uint32_t level;
    uint16_t level_thousandths; /* of a count, 0 to 999 */
    uint64_t counts_ms;         /* the register, below 2^63 */
    uint32_t sat_ms, presses;
    uint8_t flags;
};

void reading_write(const struct reading *reading, struct text *text);

#endif
