/* How the chip came up: a reset without power loss or a power-up, and the boot id of the latter. */
#ifndef START_H
#define START_H
#include <stdbool.h>
#include <stdint.h>

bool start_had_power(void);    /* the cause of the reset does not say that the power was gone */
uint32_t start_ram_seed(void); /* what stands in memory that nobody wrote; to be called before it is used */
uint32_t start_boot(uint32_t seed);

#endif
