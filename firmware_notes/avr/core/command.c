#include "command.h"

#include <string.h>

#include "../settings.h"
#include "words.h"

#define LONGEST_BUZZ_MS 3600000ul
#define LONGEST_LEASE_MS 86400000ul

enum verb { WHO, NOW, BUZZ, QUIET, ARM, DISARM, SLOT, LEASE, RATE, VERBS };

static const struct {
    char name[7];
    uint8_t arguments;
} VERB[VERBS] = {
    [WHO] = {"who", 0},    [NOW] = {"now", 0},       [BUZZ] = {"buzz", 2},   [QUIET] = {"quiet", 0},
    [ARM] = {"arm", 3},    [DISARM] = {"disarm", 1}, [SLOT] = {"slot", 1},   [LEASE] = {"lease", 1},
    [RATE] = {"rate", 1},
};

static uint8_t verb_of(const struct words *words)
{
    uint8_t verb = 0;
    while (verb < VERBS && (!words->count || strcmp(words->word[0], VERB[verb].name)))
        verb++;
    return verb;
}

/* Numbers of a command, checked before anything is done. */
struct numbers {
    uint64_t slot, counts_ms, pattern;
    uint32_t thousandths;
};

static bool numbers_of(uint8_t verb, char *const *word, struct numbers *n)
{
    switch (verb) {
    case BUZZ:
        return word_whole(word[1], PATTERN_FIRST, PATTERN_LAST, &n->pattern)
            && word_thousandths(word[2], 0, LONGEST_BUZZ_MS, &n->thousandths);
    case ARM:
        return word_whole(word[1], 0, SLOTS - 1, &n->slot)
            && word_whole(word[2], 0, REGISTER_MAX, &n->counts_ms)
            && word_whole(word[3], PATTERN_FIRST, PATTERN_LAST, &n->pattern);
    case DISARM:
    case SLOT:
        return word_whole(word[1], 0, SLOTS - 1, &n->slot);
    case LEASE:
        return word_thousandths(word[1], 0, LONGEST_LEASE_MS, &n->thousandths);
    case RATE:
        return word_thousandths(word[1], RATE_LEAST_MILLIHZ, RATE_MOST_MILLIHZ, &n->thousandths);
    default:
        return true;
    }
}

static void obey(struct node *node, uint8_t verb, const struct numbers *n, struct text *text)
{
    struct kept *kept = &node->kept;
    switch (verb) {
    case NOW:
        node_line(node, text);
        break;
    case BUZZ:
        sound_begin(&node->sound, (uint8_t)n->pattern, n->thousandths, OWNER_COMPUTER, kept->uptime_ms);
        break;
    case QUIET:
        slots_hush(kept->slots, &node->sound);
        sound_end(&node->sound);
        break;
    case ARM:
        slots_arm(kept->slots, (uint8_t)n->slot, n->counts_ms, (uint8_t)n->pattern, &node->sound);
        slots_pass(kept->slots, kept->counts_ms, kept->uptime_ms, &node->sound);
        break;
    case DISARM:
        slots_disarm(kept->slots, (uint8_t)n->slot, &node->sound);
        break;
    case LEASE:
        kept->lease_ms = n->thousandths;
        node_heard(node); /* it runs from this very command on */
        break;
    case RATE:
        kept->rate_millihz = n->thousandths; /* the line under way is not begun anew, so that none waits for ever */
        break;
    default:
        break;
    }
}

static void number_word(uint64_t number, struct text *text)
{
    text_char(text, ' ');
    text_number(text, number);
}

static void slot_words(const struct slot *slot, uint64_t number, struct text *text)
{
    number_word(number, text);
    if (slot->state != SLOT_FREE) {
        number_word(slot->counts_ms, text);
        number_word(slot->pattern, text);
    }
    if (slot->state >= SLOT_CALLS)
        number_word(slot->reached_ms, text);
    else
        text_words(text, " -");
}

static void answer(const struct node *node, uint8_t verb, const struct numbers *n, struct text *text)
{
    uint8_t start = text->length;
    text_words(text, "ok ");
    text_words(text, VERB[verb].name);
    if (verb == WHO) {
        text_words(text, " " NODE_NAME " " NODE_FIRMWARE " " NODE_SENSOR " " NODE_GAIN " ");
        text_number(text, FULL_SCALE);
        text_words(text, " " NODE_ZERO);
    } else if (verb == ARM) {
        number_word(n->slot, text);
        number_word(n->counts_ms, text);
        number_word(n->pattern, text);
    } else if (verb == SLOT) {
        slot_words(node->kept.slots + n->slot, n->slot, text);
    }
    text_seal(text, start);
}

static void refuse(const char *reason, struct text *text)
{
    uint8_t start = text->length;
    text_words(text, "err ");
    text_words(text, reason);
    text_seal(text, start);
}

void command_take(struct node *node, char *line, uint8_t length, struct text *text)
{
    struct words words;
    struct numbers numbers = {0, 0, 0, 0};
    if (length && line[length - 1] == '\r')
        length--;
    if (!length)
        return;
    if (!line_proved(line, &length)) {
        refuse("checksum", text);
        return;
    }
    node_heard(node);
    words_cut(line, length, &words);
    uint8_t verb = verb_of(&words);
    if (verb == VERBS) {
        refuse("unknown", text);
    } else if (words.count != VERB[verb].arguments + 1) {
        refuse("arguments", text);
    } else if (!numbers_of(verb, words.word, &numbers)) {
        refuse("value", text);
    } else {
        obey(node, verb, &numbers, text);
        answer(node, verb, &numbers, text);
    }
}
