#include "text.h"

#include "crc.h"

void text_char(struct text *text, char byte)
{
    if (text->length < TEXT_ROOM)
        text->bytes[text->length++] = byte;
}

void text_words(struct text *text, const char *words)
{
    while (*words)
        text_char(text, *words++);
}

/* Four digits at a time, each time a long division by 10000 over limbs of 16 bits: an 8-bit chip has no other that is
 * quick, and its library's 64-bit division would take milliseconds for one line. */
void text_number(struct text *text, uint64_t number)
{
    uint16_t limbs[4], groups[5];
    uint8_t top = 4, count = 0;
    for (uint8_t i = 0; i < 4; i++)
        limbs[i] = (uint16_t)(number >> (16 * i));
    do {
        uint32_t rest = 0;
        while (top > 1 && !limbs[top - 1])
            top--;
        for (uint8_t i = top; i-- > 0;) {
            rest = (rest << 16) | limbs[i];
            limbs[i] = (uint16_t)(rest / 10000u);
            rest %= 10000u;
        }
        groups[count++] = (uint16_t)rest;
    } while (top > 1 || limbs[0]);
    for (uint8_t shown = 0; count-- > 0;) {
        uint16_t left = groups[count];
        for (uint16_t unit = 1000; unit; unit /= 10) {
            char digit = (char)('0' + left / unit);
            left %= unit;
            shown |= digit != '0' || (unit == 1 && count == 0);
            if (shown)
                text_char(text, digit);
        }
    }
}

void text_hex(struct text *text, uint32_t number, uint8_t digits, char ten)
{
    while (digits-- > 0) {
        uint8_t digit = (uint8_t)(number >> (4 * digits)) & 15;
        text_char(text, (char)(digit < 10 ? '0' + digit : ten + digit - 10));
    }
}

void text_seal(struct text *text, uint8_t start)
{
    uint16_t crc = crc_of(text->bytes + start, (uint16_t)(text->length - start));
    text_char(text, '*');
    text_hex(text, crc, 4, 'A');
    text_char(text, '\n');
}
