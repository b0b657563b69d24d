/* The chip's end of a pseudo-terminal. */
#ifndef WIRE_H
#define WIRE_H
#include <stdbool.h>

bool wire_open(const char *link); /* a symlink to its other end is made here */
int wire_file(void);
void wire_say(char byte);
void wire_flush(void);

#endif
