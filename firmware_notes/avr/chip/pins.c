#include "pins.h"

#include <avr/io.h>

#include "../settings.h"

void pins_begin(void)
{
    BUZZER_DDR |= _BV(BUZZER_BIT);
    BUTTON_DDR &= (uint8_t)~_BV(BUTTON_BIT);
    BUTTON_PORT |= _BV(BUTTON_BIT);
}

void buzzer_set(bool on)
{
    if (on)
        BUZZER_PORT |= _BV(BUZZER_BIT);
    else
        BUZZER_PORT &= (uint8_t)~_BV(BUZZER_BIT);
}

bool button_pressed(void)
{
    return !(BUTTON_PIN & _BV(BUTTON_BIT));
}
