/* One line to the node: obeyed and answered once, an empty one passed over. */
#ifndef COMMAND_H
#define COMMAND_H
#include <stdint.h>

#include "node.h"

#define RATE_LEAST_MILLIHZ 100u
#define RATE_MOST_MILLIHZ 20000u /* a line of 100 bytes takes 9 ms on the wire */

/* line: without its LF; one byte behind it may be written. An answer, and before it what `now` asks for, is added. */
void command_take(struct node *node, char *line, uint8_t length, struct text *text);

#endif
