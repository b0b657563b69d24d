/* The shell: what happens in a millisecond, and in which order. All that counts is in ../core. */
#include <avr/interrupt.h>
#include <avr/power.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "../core/button.h"
#include "../core/command.h"
#include "../core/gather.h"
#include "../core/keep.h"
#include "../core/node.h"
#include "../settings.h"
#include "pins.h"
#include "sampler.h"
#include "start.h"
#include "uart.h"

#define KEEP_EACH_MS 8 /* what a reset may cost besides its own time */

static struct keep keep __attribute__((section(".noinit")));
static struct node node;
static struct text text;
static struct gather gather;
static struct button button;
static uint8_t unkept_ms;

static void begin(void)
{
    const struct kept *kept = start_had_power() ? keep_find(&keep) : 0;
    uint32_t seed = start_ram_seed();
    pins_begin();
    uart_begin();
    seed = sampler_begin(seed);
    if (kept) {
        node_resume(&node, kept);
    } else {
        keep_spoil(&keep);
        node_begin(&node, start_boot(seed), NODE_RATE_MILLIHZ);
    }
    keep_save(&keep, &node.kept);
    button.down = button_pressed();
}

/* Kept first, then said: after a reset no line was ever ahead of what goes on. A line without room is left out whole; the
 * next one's register holds its light too. */
static void say(void)
{
    if (!text.length)
        return;
    keep_save(&keep, &node.kept);
    unkept_ms = 0;
    uart_say(text.bytes, text.length);
    text.length = 0;
}

static void pass(void)
{
    struct passed passed;
    sampler_take(&passed);
    node_pass(&node, passed.counts_ms, passed.ms, passed.sat_ms, &text);
    buzzer_set(node_pin(&node));
    say();
    if (button_pass(&button, button_pressed(), (uint8_t)passed.ms)) {
        node_press(&node, &text);
        buzzer_set(node_pin(&node));
        say();
    }
    unkept_ms = (uint8_t)(unkept_ms + passed.ms);
    if (unkept_ms >= KEEP_EACH_MS) {
        keep_save(&keep, &node.kept);
        unkept_ms = 0;
    }
}

/* A command waits in its ring until there is room for all that it may bring, so no answer is lost. */
static void hear(void)
{
    char byte;
    while (uart_room() >= TEXT_ROOM && uart_hear(&byte)) {
        if (!gather_byte(&gather, byte))
            continue;
        command_take(&node, gather.line, gather.length, &text);
        gather_done(&gather);
        buzzer_set(node_pin(&node));
        say();
        return; /* time first, the next line after it */
    }
}

static void rest(void)
{
    cli();
    if (!sampler_due() && !(uart_heard() && uart_room() >= TEXT_ROOM)) {
        sleep_enable();
        sei(); /* takes effect after the next instruction, so that nothing can come between */
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

int main(void)
{
    wdt_enable(WDTO_500MS);
    power_spi_disable();
    power_twi_disable();
    power_timer1_disable();
    power_timer2_disable();
    set_sleep_mode(SLEEP_MODE_IDLE);
    begin();
    sampler_go();
    sei();
    for (;;) {
        wdt_reset();
        if (sampler_due())
            pass();
        hear();
        rest();
    }
}
