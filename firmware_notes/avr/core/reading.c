#include "reading.h"

static void level_write(const struct reading *reading, struct text *text)
{
    uint16_t rest = reading->level_thousandths;
    text_number(text, reading->level);
    if (!rest)
        return;
    text_char(text, '.');
    for (uint16_t unit = 100; rest; unit /= 10) { /* as few decimals as there are */
        text_char(text, (char)('0' + rest / unit));
        rest %= unit;
    }
}

void reading_write(const struct reading *reading, struct text *text)
{
    uint8_t start = text->length;
    text_words(text, "uv1,");
    text_hex(text, reading->boot, 8, 'a');
    text_char(text, ',');
    text_number(text, reading->seq);
    text_char(text, ',');
    text_number(text, reading->uptime_ms);
    text_char(text, ',');
    level_write(reading, text);
    text_char(text, ',');
    text_number(text, reading->counts_ms);
    text_char(text, ',');
    text_number(text, reading->sat_ms);
    text_char(text, ',');
    text_number(text, reading->presses);
    text_char(text, ',');
    text_hex(text, reading->flags, 2, 'a');
    text_seal(text, start);
}
