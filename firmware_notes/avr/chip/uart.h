/* The serial port, both ways by interrupt through rings. */
#ifndef UART_H
#define UART_H
#include <stdbool.h>
#include <stdint.h>

void uart_begin(void);
bool uart_say(const char *bytes, uint8_t length); /* all of it or, where there is no room, nothing and false */
uint8_t uart_room(void);                          /* bytes that may be said now */
bool uart_hear(char *byte);                       /* false: nothing came */
bool uart_heard(void);

#endif
