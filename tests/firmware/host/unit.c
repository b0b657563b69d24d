/* What the core promises besides its lines: the checksum, the kept state at a reset in any moment, the button. Exits with
 * the number of promises that did not hold. */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/button.h"
#include "core/crc.h"
#include "core/keep.h"

static int broken;

static void holds(int truth, const char *what)
{
    if (!truth) {
        printf("does not hold: %s\n", what);
        broken++;
    }
}

static struct kept state(uint32_t n)
{
    struct node node;
    node_begin(&node, n, 1000 + n % 1000);
    node.kept.counts_ms = (uint64_t)n * 0x123456789ull;
    node.kept.uptime_ms = n * 7;
    node.kept.slots[n % SLOTS] = (struct slot){.counts_ms = n, .state = SLOT_WAITS, .pattern = 4};
    return node.kept;
}

static int same(const struct kept *a, const struct kept *b)
{
    return a && a->boot == b->boot && a->counts_ms == b->counts_ms && a->uptime_ms == b->uptime_ms
        && !memcmp(a->slots, b->slots, sizeof a->slots);
}

/* What is found, without mending anything. */
static int finds(struct keep keep, const struct kept *wanted)
{
    return same(keep_find(&keep), wanted);
}

/* A write of `fresh` that was cut: each byte of the copy is old or new, up to a place or by chance, its checksum already
 * void and not yet new. */
static struct keep tear(const struct keep *keep, const struct kept *fresh, size_t cut, int by_chance)
{
    struct keep whole = *keep, torn = *keep;
    keep_save(&whole, fresh);
    struct copy *to = torn.copies, *from = whole.copies;
    if (!memcmp(to, from, sizeof *to))
        to++, from++;
    to->crc = 0;
    for (size_t i = 0; i < offsetof(struct copy, crc); i++)
        if (by_chance ? (size_t)(rand() % (int)sizeof(struct copy)) < cut : i < cut)
            ((unsigned char *)to)[i] = ((unsigned char *)from)[i];
    return torn;
}

/* After any torn write the state before is found; and where the node went on from there and the next write is torn as
 * well, again that. */
static void torn_writes(void)
{
    struct keep keep;
    memset(&keep, 0, sizeof keep);
    keep_spoil(&keep);
    holds(!keep_find(&keep), "a spoiled state is none");
    struct kept older = state(0);
    keep_save(&keep, &older);
    for (uint32_t n = 1; n < 120; n++) {
        struct kept before = state(n), after = state(n + 1), next = state(n + 2);
        keep_save(&keep, &before);
        holds(finds(keep, &before), "the newest is found");
        for (size_t cut = 0; cut < sizeof(struct copy); cut++) {
            struct keep torn = tear(&keep, &after, cut, n % 2);
            holds(same(keep_find(&torn), &before), "a torn write leaves the state before");
            for (size_t again = 0; again < sizeof(struct copy); again += 7) {
                struct keep twice = tear(&torn, &next, again, n % 2);
                holds(finds(twice, &before), "a second torn write leaves it too");
            }
            keep_save(&torn, &next);
            holds(finds(torn, &next), "after a torn write the next one is found");
        }
    }
}

/* Memory as it comes up when the power was gone: nothing in it is a state. */
static void chance(void)
{
    struct keep keep;
    int taken = 0;
    for (int n = 0; n < 200000; n++) {
        for (size_t i = 0; i < sizeof keep; i++)
            ((unsigned char *)&keep)[i] = (unsigned char)(rand() >> 8);
        taken += keep_find(&keep) != NULL;
    }
    holds(taken == 0, "chance is no state");
    memset(&keep, 0, sizeof keep);
    holds(!keep_find(&keep), "zeros are no state");
    memset(&keep, 0xFF, sizeof keep);
    holds(!keep_find(&keep), "ones are no state");
}

static void one_bit(void)
{
    struct keep keep, spoilt;
    struct kept one = state(5);
    memset(&keep, 0, sizeof keep);
    keep_spoil(&keep);
    keep_save(&keep, &one);
    for (size_t bit = 0; bit < 8 * offsetof(struct copy, crc); bit++) {
        spoilt = keep;
        for (int copy = 0; copy < 2; copy++)
            ((unsigned char *)&spoilt.copies[copy])[bit / 8] ^= (unsigned char)(1 << bit % 8);
        holds(!keep_find(&spoilt), "one bit that fell is found out");
    }
}

static void numbers_wrap(void)
{
    struct keep keep;
    memset(&keep, 0, sizeof keep);
    keep_spoil(&keep);
    for (uint32_t n = 0; n < 140000; n++) {
        struct kept one = state(n);
        keep_save(&keep, &one);
        if (n % 997 == 0 || n % 65536 < 3)
            holds(finds(keep, &one), "the newest is found over the wrap of its number");
    }
}

static int presses(const char *pins, int each_ms)
{
    struct button button = {0};
    int count = 0;
    for (; *pins; pins++)
        for (int i = 0; i < each_ms; i++)
            count += button_pass(&button, *pins == '1', 1);
    return count;
}

static void bounces(void)
{
    holds(presses("00111100", 20) == 1, "a press is one");
    holds(presses("0010101011111110101000", 3) == 1, "bounces are none");
    holds(presses("0101010101", 10) == 0, "what never rests is none");
    holds(presses("011011011", 25) == 3, "three are three");
    struct button held = {.down = true};
    int count = 0;
    for (int i = 0; i < 1000; i++)
        count += button_pass(&held, true, 1);
    holds(count == 0, "a button that was down at power-up is no press");
    struct button late = {0};
    holds(button_pass(&late, true, 200), "a late look sees it too");
}

int main(void)
{
    holds(crc_of("123456789", 9) == 0x29B1, "the check value of the CRC catalogue");
    torn_writes();
    chance();
    one_bit();
    numbers_wrap();
    bounces();
    return broken > 100 ? 100 : broken;
}
