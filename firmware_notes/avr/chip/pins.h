/* Buzzer and button. */
#ifndef PINS_H
#define PINS_H
#include <stdbool.h>

void pins_begin(void);
void buzzer_set(bool on);
bool button_pressed(void);

#endif
