/* The core on this machine, driven by lines on standard input; what it says and does goes to standard output.
 *
 *   pass COUNTS MS       so many milliseconds, each with this sample
 *   line HEX             bytes on its wire (a LF ends a line of them)
 *   press                the button
 *   set WHAT N           boot, seq, uptime, sat, presses, register
 *   reset, power         a reset that keeps, one after a loss of power
 *   format BOOT SEQ UPTIME LEVEL THOUSANDTHS REGISTER SAT PRESSES FLAGS     a reading as a line
 *   pattern P MS         the pin of a pattern, a character each 10 ms
 *   pin                  1 or 0
 * Whatever is said on the wire stands behind "> "; "buzz P AT_MS REGISTER" and "chirp AT_MS" tell what began.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/command.h"
#include "core/gather.h"
#include "core/keep.h"
#include "core/node.h"
#include "core/reading.h"
#include "settings.h"

static struct node node;
static struct keep keep;
static struct gather gather;
static struct text text;

static void flush(void)
{
    for (uint8_t i = 0, start = 1; i < text.length; i++) {
        if (start)
            fputs("> ", stdout);
        putchar(text.bytes[i]);
        start = text.bytes[i] == '\n';
    }
    text.length = 0;
}

/* Tell a sound that began since `before`. */
static void sounds(const struct sound *before)
{
    const struct sound *now = &node.sound;
    if (sound_on(now) && (!sound_on(before) || before->began_ms != now->began_ms || before->owner != now->owner))
        printf("buzz %u %u %llu\n", now->pattern, now->began_ms, (unsigned long long)node.kept.counts_ms);
}

static void pass(uint32_t counts, uint32_t ms)
{
    while (ms--) {
        struct sound before = node.sound;
        uint16_t chirp = node.chirp_left_ms;
        node_pass(&node, counts, 1, counts >= FULL_SCALE, &text);
        sounds(&before);
        if (node.chirp_left_ms > chirp)
            printf("chirp %u\n", node.kept.uptime_ms);
        flush();
    }
}

static void wire(const char *hex)
{
    unsigned byte;
    for (; sscanf(hex, "%2x", &byte) == 1; hex += 2) {
        if (!gather_byte(&gather, (char)byte))
            continue;
        struct sound before = node.sound;
        command_take(&node, gather.line, gather.length, &text);
        gather_done(&gather);
        sounds(&before);
        flush();
        if (hex[2] == 0)
            break;
    }
}

static void set(const char *what, unsigned long long n)
{
    struct kept *kept = &node.kept;
    if (!strcmp(what, "boot"))
        kept->boot = (uint32_t)n;
    else if (!strcmp(what, "seq"))
        kept->seq = (uint32_t)n;
    else if (!strcmp(what, "uptime"))
        kept->uptime_ms = kept->line_ms = (uint32_t)n;
    else if (!strcmp(what, "sat"))
        kept->sat_ms = (uint32_t)n;
    else if (!strcmp(what, "presses"))
        kept->presses = (uint32_t)n;
    else if (!strcmp(what, "register"))
        kept->counts_ms = kept->line_counts_ms = n;
}

static void come_up(int power)
{
    static uint32_t boot = 1;
    keep_save(&keep, &node.kept);
    const struct kept *kept = power ? NULL : keep_find(&keep);
    if (kept) {
        node_resume(&node, kept);
    } else {
        keep_spoil(&keep);
        node_begin(&node, boot++, NODE_RATE_MILLIHZ);
    }
    keep_save(&keep, &node.kept);
}

static void format(const char *words)
{
    struct reading r = {0};
    unsigned long long counts_ms;
    unsigned thousandths, flags;
    if (sscanf(words, "%u %u %u %u %u %llu %u %u %u", &r.boot, &r.seq, &r.uptime_ms, &r.level, &thousandths, &counts_ms,
            &r.sat_ms, &r.presses, &flags) != 9)
        abort();
    r.counts_ms = counts_ms;
    r.level_thousandths = (uint16_t)thousandths;
    r.flags = (uint8_t)flags;
    reading_write(&r, &text);
    flush();
}

int main(void)
{
    static char line[65536];
    keep_spoil(&keep);
    come_up(1);
    while (fgets(line, sizeof line, stdin)) {
        unsigned long long a;
        unsigned counts, ms;
        char what[16];
        line[strcspn(line, "\n")] = 0;
        if (sscanf(line, "pass %u %u", &counts, &ms) == 2)
            pass(counts, ms);
        else if (!strncmp(line, "line ", 5))
            wire(line + 5);
        else if (!strcmp(line, "press"))
            node_press(&node, &text), flush();
        else if (sscanf(line, "set %15s %llu", what, &a) == 2)
            set(what, a);
        else if (!strcmp(line, "reset"))
            come_up(0);
        else if (!strcmp(line, "power"))
            come_up(1);
        else if (!strncmp(line, "format ", 7))
            format(line + 7);
        else if (sscanf(line, "pattern %u %u", &counts, &ms) == 2) {
            for (unsigned at = 0; at < ms; at += 10)
                putchar('0' + pattern_pin((uint8_t)counts, at));
            putchar('\n');
        } else if (!strcmp(line, "pin"))
            printf("%d\n", node_pin(&node));
        else
            abort();
    }
    return 0;
}
