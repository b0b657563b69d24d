/* What the node is about to say: whole lines in a buffer of fixed size. What does not fit is left out, which the longest
 * line and the longest answer together do not come to. */
#ifndef TEXT_H
#define TEXT_H
#include <stdint.h>

#define TEXT_ROOM 184 /* a reading of 103 bytes and an answer of 80 */

struct text {
    uint8_t length;
    char bytes[TEXT_ROOM];
};

void text_char(struct text *text, char byte);
void text_words(struct text *text, const char *words);
void text_number(struct text *text, uint64_t number);
void text_hex(struct text *text, uint32_t number, uint8_t digits, char ten);

/* End the line that began at `start`: `*`, its checksum in four upper-case hex digits, LF. */
void text_seal(struct text *text, uint8_t start);

#endif
