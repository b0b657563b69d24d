/* The kept state in memory that a reset does not clear: two copies, written by turns, each with its number and a checksum
 * that is written last. A reset in the middle of a write spoils one of them; the other still holds. */
#ifndef KEEP_H
#define KEEP_H
#include <stdbool.h>
#include <stdint.h>

#include "node.h"

struct copy {
    struct kept kept;
    uint16_t number;
    uint16_t crc;
};

struct keep {
    struct copy copies[2];
};

void keep_save(struct keep *keep, const struct kept *kept);

/* The newest copy whose checksum holds and whose values can be, else NULL: then the power was gone. The other copy is made
 * anew from it, so that the next write again spoils the older one of two that hold. */
const struct kept *keep_find(struct keep *keep);

void keep_spoil(struct keep *keep); /* at power-up: what may have outlived a short loss of power is not gone on from */

#endif
