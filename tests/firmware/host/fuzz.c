/* Random lines to the core: fuzz COUNT SEED. Each line that is not empty must be answered once, and with a proof. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/command.h"
#include "core/crc.h"
#include "core/gather.h"
#include "core/node.h"

static uint64_t drawn;

static unsigned draw(unsigned below) /* xorshift64 */
{
    drawn ^= drawn << 13;
    drawn ^= drawn >> 7;
    drawn ^= drawn << 17;
    return (unsigned)((drawn >> 20) % below);
}

static const char *const VERBS[] = {
    "who", "now", "buzz", "quiet", "arm", "disarm", "slot", "lease", "rate", "Who", "armed", "", "buz", "ok", "uv1,",
};
static const char *const WORDS[] = {
    "0", "1", "3", "4", "7", "8", "10", "-1", "+1", "0.1", "9223372036854775807", "9223372036854775808", "1e3", "nan",
    "99999999999999999999999999", "3600", "3600.001", "86400", ".5", "5.", "0x10", "00000000000000000004", "20.0001", "*",
};

static size_t make(char *line)
{
    size_t length = 0;
    unsigned kind = draw(8);
    if (kind == 0) { /* bytes */
        length = draw(120);
        for (size_t i = 0; i < length; i++)
            do
                line[i] = (char)draw(256);
            while (line[i] == '\n');
        return length;
    }
    length = (size_t)sprintf(line, "%s", VERBS[draw(sizeof VERBS / sizeof *VERBS)]);
    for (unsigned words = draw(6); words; words--)
        length += (size_t)sprintf(line + length, "%*s%s", 1 + (int)draw(2), "", WORDS[draw(sizeof WORDS / sizeof *WORDS)]);
    length += (size_t)sprintf(line + length, "*%04X", crc_of(line, (uint16_t)length));
    if (kind == 1) /* one byte is wrong */
        line[draw((unsigned)length)] ^= (char)(1 << draw(7));
    if (kind == 2)
        line[length++] = '\r';
    for (size_t i = 0; i < length; i++)
        if (line[i] == '\n')
            line[i] = '?';
    return length;
}

static int fault(const char *what, const char *line, size_t length, const struct text *text)
{
    printf("%s: %.*s -> %.*s\n", what, (int)length, line, text->length, text->bytes);
    return 1;
}

/* The lines of a text, each proved: how many readings, how many answers; -1 where one is neither. */
static int count(const struct text *text, int *readings, int *answers)
{
    const char *at = text->bytes, *end = at + text->length;
    *readings = *answers = 0;
    while (at < end) {
        const char *lf = memchr(at, '\n', (size_t)(end - at));
        unsigned crc;
        if (!lf || lf - at < 6 || lf[-5] != '*' || sscanf(lf - 4, "%4X", &crc) != 1
            || crc != crc_of(at, (uint16_t)(lf - 5 - at)))
            return -1;
        *readings += !strncmp(at, "uv1,", 4);
        *answers += !strncmp(at, "ok ", 3) || !strncmp(at, "err ", 4);
        at = lf + 1;
    }
    return 0;
}

int main(int words, char **word)
{
    static struct node node;
    static struct gather gather;
    long lines = words > 1 ? atol(word[1]) : 1000, answered = 0, taken = 0;
    drawn = (words > 2 ? (uint64_t)atoll(word[2]) : 1) * 0x9E3779B97F4A7C15ull + 1;
    node_begin(&node, 1, 2000);
    for (long n = 0; n < lines; n++) {
        char line[512];
        struct text text = {0}, passing = {0};
        int readings, answers;
        size_t length = make(line);
        for (size_t i = 0; i < length; i++)
            if (gather_byte(&gather, line[i]))
                return fault("a line without an end", line, length, &text);
        if (!gather_byte(&gather, '\n'))
            return fault("an end that is none", line, length, &text);
        command_take(&node, gather.line, gather.length, &text);
        gather_done(&gather);
        int empty = !length || (length == 1 && line[0] == '\r');
        if (count(&text, &readings, &answers) || answers != !empty)
            return fault("not answered once", line, length, &text);
        if (readings != (text.length > 7 && memmem(text.bytes, text.length, "ok now*", 7) != NULL))
            return fault("a line that nobody asked for", line, length, &text);
        answered += answers;
        taken += memmem(text.bytes, text.length, "ok ", 3) != NULL;
        uint16_t ms = (uint16_t)draw(60);
        node_pass(&node, draw(4093) * ms, ms, 0, &passing);
        node_pin(&node);
        if (draw(50) == 0)
            node_press(&node, &passing);
        if (count(&passing, &readings, &answers) || answers)
            return fault("a line that is none", line, length, &passing);
    }
    printf("%ld answered %ld taken\n", answered, taken);
    return 0;
}
