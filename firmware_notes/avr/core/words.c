#include "words.h"

#include "crc.h"

static int8_t hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (int8_t)(c - 'A' + 10);
    return c >= 'a' && c <= 'f' ? (int8_t)(c - 'a' + 10) : -1;
}

bool line_proved(const char *line, uint8_t *length)
{
    if (*length < 6 || line[*length - 5] != '*')
        return false;
    uint8_t body = (uint8_t)(*length - 5);
    uint16_t said = 0;
    for (uint8_t i = 0; i < 4; i++) {
        int8_t digit = hex_digit(line[body + 1 + i]);
        if (digit < 0)
            return false;
        said = (uint16_t)(said << 4 | (uint8_t)digit);
    }
    for (uint8_t i = 0; i < body; i++)
        if (line[i] < ' ' || line[i] > '~' || line[i] == '*')
            return false;
    if (said != crc_of(line, body))
        return false;
    *length = body;
    return true;
}

void words_cut(char *line, uint8_t length, struct words *words)
{
    bool inside = false;
    words->count = 0;
    line[length] = 0;
    for (uint8_t i = 0; i < length; i++) {
        if (line[i] == ' ') {
            line[i] = 0;
            inside = false;
        } else if (!inside) {
            inside = true;
            if (words->count < WORDS_MOST)
                words->word[words->count++] = line + i;
        }
    }
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool word_whole(const char *word, uint64_t least, uint64_t most, uint64_t *number)
{
    uint64_t sum = 0;
    uint8_t digits = 0;
    for (; is_digit(*word); word++) {
        if (++digits > 19)
            return false;
        sum = sum * 10 + (uint64_t)(*word - '0');
    }
    *number = sum;
    return digits && !*word && sum >= least && sum <= most;
}

bool word_thousandths(const char *word, uint32_t least, uint32_t most, uint32_t *thousandths)
{
    uint32_t sum = 0;
    uint8_t decimals = 0;
    bool more = false;
    if (!is_digit(*word))
        return false;
    for (; is_digit(*word); word++) {
        if (sum > most / 1000)
            return false;
        sum = sum * 10 + (uint32_t)(*word - '0');
    }
    if (sum > most / 1000)
        return false;
    if (*word == '.') {
        if (!is_digit(*++word))
            return false;
        for (; is_digit(*word); word++) {
            if (decimals < 3) {
                sum = sum * 10 + (uint32_t)(*word - '0');
                decimals++;
            } else {
                more |= *word != '0';
            }
        }
    }
    for (; decimals < 3; decimals++)
        sum *= 10;
    *thousandths = sum + more;
    return !*word && *thousandths >= least && *thousandths <= most;
}
