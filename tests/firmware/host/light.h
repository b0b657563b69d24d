/* What lies on ADC0: millivolts over the chip's time, held at a value or read from a table. */
#ifndef LIGHT_H
#define LIGHT_H
#include <stdbool.h>
#include <stdint.h>

void light_hold(double mv);

/* Lines of "ms mv", from now on; between them held or linear, the last for ever. */
bool light_read(const char *path, bool linear, double now_ms);

uint32_t light_mv(double now_ms);

#endif
