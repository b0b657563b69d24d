#include "sound.h"

#define PARTS 8
#define UNIT_MS 20u

/* On, off, on, off... in units of 20 ms, a zero ends it. Told apart by how many tones there are before the pause, and by
 * their length: one tick, two, three and four short ones, one long, a rattle without pause, short and long by turns. */
static const uint8_t PATTERNS[PATTERN_LAST][PARTS] = {
    {4, 46},                        /* 1 count-in: a tick a second */
    {8, 8, 8, 50},                  /* 2 look: two short */
    {8, 8, 8, 8, 8, 50},            /* 3 lead: three short */
    {40, 10},                       /* 4 target: long, a second each */
    {5, 5},                         /* 5 overshoot: a rattle that does not pause */
    {30, 8, 8, 8},                  /* 6 alarm: long and short by turns */
    {4, 4, 4, 4, 4, 4, 4, 72},      /* 7 test: four ticks, then a long pause */
};

bool pattern_pin(uint8_t pattern, uint32_t since_ms)
{
    const uint8_t *parts = PATTERNS[pattern - 1];
    uint16_t period = 0;
    for (uint8_t i = 0; i < PARTS && parts[i]; i++)
        period = (uint16_t)(period + parts[i]);
    uint16_t at = (uint16_t)(since_ms / UNIT_MS % period);
    for (uint8_t i = 0; i < PARTS; i++) {
        if (at < parts[i])
            return i % 2 == 0;
        at = (uint16_t)(at - parts[i]);
    }
    return false;
}

void sound_begin(struct sound *sound, uint8_t pattern, uint32_t lasts_ms, uint8_t owner, uint32_t now_ms)
{
    sound->pattern = pattern;
    sound->lasts_ms = lasts_ms;
    sound->owner = owner;
    sound->began_ms = now_ms;
}

void sound_end(struct sound *sound)
{
    sound->lasts_ms = 0;
}

void sound_pass(struct sound *sound, uint32_t now_ms)
{
    if (now_ms - sound->began_ms >= sound->lasts_ms)
        sound->lasts_ms = 0;
}

bool sound_on(const struct sound *sound)
{
    return sound->lasts_ms != 0;
}

bool sound_pin(const struct sound *sound, uint32_t now_ms)
{
    return sound_on(sound) && pattern_pin(sound->pattern, now_ms - sound->began_ms);
}
