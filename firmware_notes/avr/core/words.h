/* A line that came: is it proved, what are its words, what numbers are they. */
#ifndef WORDS_H
#define WORDS_H
#include <stdbool.h>
#include <stdint.h>

#define WORDS_MOST 5 /* a command has four; a fifth shows that there are too many */

struct words {
    uint8_t count;
    char *word[WORDS_MOST];
};

/* Whether the line (without its LF) ends in the checksum of what stands before it, and that is printable ASCII without a
 * `*`. Then `*length` is cut to it. */
bool line_proved(const char *line, uint8_t *length);

/* Cut a proved line at its blanks, in place: line[length] is written. */
void words_cut(char *line, uint8_t length, struct words *words);

/* A whole number from `least` to `most`: digits only, at most 19. */
bool word_whole(const char *word, uint64_t least, uint64_t most, uint64_t *number);

/* A number of units in thousandths of them, rounded up, from `least` to `most`: digits, or digits, a point and digits. */
bool word_thousandths(const char *word, uint32_t least, uint32_t most, uint32_t *thousandths);

#endif
