#include "button.h"

bool button_pass(struct button *button, bool pressed, uint8_t ms)
{
    if (pressed == button->down) {
        button->steady_ms = 0;
        return false;
    }
    if (ms < BOUNCE_MS - button->steady_ms) {
        button->steady_ms = (uint8_t)(button->steady_ms + ms);
        return false;
    }
    button->down = pressed;
    button->steady_ms = 0;
    return pressed;
}
