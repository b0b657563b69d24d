/* The button without its bounce: a press is told once, when it has been down for 20 ms, and the next one only after it
 * has been up as long. */
#ifndef BUTTON_H
#define BUTTON_H
#include <stdbool.h>
#include <stdint.h>

#define BOUNCE_MS 20

struct button {
    bool down;
    uint8_t steady_ms; /* how long it has been other than `down` says */
};

bool button_pass(struct button *button, bool pressed, uint8_t ms);

#endif
