/* Bytes that came, gathered to lines. One that is too long is no command: it is passed on cut short, so that it is refused
 * once, at its end. */
#ifndef GATHER_H
#define GATHER_H
#include <stdbool.h>
#include <stdint.h>

#define LINE_ROOM 64 /* the longest command has 32 bytes */

struct gather {
    uint8_t length;
    bool overlong;
    char line[LINE_ROOM + 1];
};

/* True when this byte ended a line: gather->line holds gather->length bytes of it, until gather_done. */
bool gather_byte(struct gather *gather, char byte);
void gather_done(struct gather *gather);

#endif
