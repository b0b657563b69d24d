/* The node's real image on a simulated ATmega328P: its UART on a pseudo-terminal, its ADC0 in a light of millivolts, its
 * buzzer's pin watched, its button pressed. In real time, or `pace` times as fast.
 *
 *   chip IMAGE SYMLINK PACE SEED REGISTER END     addresses in RAM: of the 64-bit register, and of the end of variables
 *
 * On standard input, a line each: mv N | table FILE held|linear | press MS | reset MS | power MS | paint MS | hang |
 * tell | stack. On standard output lines that begin with "chip ": said LINE; pin, down and tell with the pin's level, ms,
 * register, uptime and the sum of all conversions; watchdog MS; stack USED ROOM; fault WHY. The library's own log goes to
 * standard error.
 * MS of reset, power and paint: how long it is held down. Paint is a power-up with memory full of one byte.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_irq.h>

#include "light.h"
#include "wire.h"

#define HZ 16000000ull
#define CYCLES_MS (HZ / 1000)
#define BYTES_MS 10 /* what a wire of 115200 baud brings in a millisecond; the library takes 10.7 */
#define MCUSR 0x54
#define WDRF 8
#define PAINT 0xC5

static avr_t *avr;
static unsigned register_at, end_at;
static unsigned long long base; /* cycles that went before the chip's own count began anew */
static unsigned long long held_until_ms;
static char in[65536];
static size_t in_length;
static unsigned long long button_until_ms, adc_sum, barked_ms;
static int pin, button_down, hung;
static uint8_t hung_word[2];
static avr_flashaddr_t hung_at;

static unsigned long long cycles(void) { return base + avr->cycle; }
static unsigned long long ms_now(void) { return cycles() / CYCLES_MS; }
static void no_sleep(avr_t *a, avr_cycle_count_t how_long) { (void)a, (void)how_long; }

static void say(const char *form, ...)
{
    va_list list;
    va_start(list, form);
    fputs("chip ", stdout);
    vprintf(form, list);
    putchar('\n');
    fflush(stdout);
    va_end(list);
}

static unsigned long long ram(unsigned at, int bytes)
{
    unsigned long long value = 0;
    while (bytes--)
        value = value << 8 | avr->data[at + (unsigned)bytes];
    return value;
}

static void tell(const char *what, int value)
{
    say("%s %d %.3f %llu %llu %llu", what, value, (double)cycles() / CYCLES_MS, ram(register_at, 8),
        ram(register_at + 8, 4), adc_sum);
}

/* A conversion begins: the light of now, in whole millivolts. What it will read is added up here too, by the arithmetic
 * of the library, so that a test has a sum that the firmware had no hand in. */
static void on_convert(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value, (void)param;
    uint32_t mv = light_mv((double)cycles() / CYCLES_MS);
    uint32_t steps = mv * 1023 / 1100;
    adc_sum += steps > 1023 ? 1023 : steps;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), mv);
}

static void set_pin(int high)
{
    if (high != pin)
        tell("pin", pin = high);
}

static void on_pin(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    set_pin(value != 0);
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
    static char line[256];
    static size_t length;
    (void)irq, (void)param;
    wire_say((char)value);
    if (value == '\n') {
        say("said %.*s", (int)length, line);
        length = 0;
    } else if (length < sizeof line) {
        line[length++] = (char)value;
    }
}

static void set_button(int down)
{
    avr_irq_t *irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 2);
    button_down = down;
    avr_raise_irq(irq, (uint32_t)down); /* the library passes changes only: first the other level */
    avr_raise_irq(irq, (uint32_t)!down);
}

static void come_up(uint8_t cause, unsigned long long held_ms, int fill)
{
    static uint8_t kept[65536];
    unsigned long long now = cycles();
    size_t size = avr->ramend + 1u - 0x100;
    memcpy(kept, avr->data + 0x100, size);
    set_pin(0);
    avr_reset(avr);
    base = now + held_ms * CYCLES_MS - avr->cycle;
    held_until_ms = now / CYCLES_MS + held_ms;
    memcpy(avr->data + 0x100, kept, size);
    for (size_t i = 0; fill && i < size; i++)
        avr->data[0x100 + i] = fill > 0 ? (uint8_t)fill : (uint8_t)(random() >> 8);
    avr->data[MCUSR] = cause;
    in_length = 0;
    if (cause == 1)
        adc_sum = 0;
    set_button(button_down);
}

static void measure_stack(void)
{
    unsigned at = end_at;
    while (at <= avr->ramend && avr->data[at] == PAINT)
        at++;
    say("stack %u %u", avr->ramend + 1u - at, avr->ramend + 1u - end_at);
}

static void obey(char *line)
{
    char word[1024] = "", kind[16] = "held";
    double number = 0;
    if (sscanf(line, "mv %lf", &number) == 1)
        light_hold(number);
    else if (sscanf(line, "table %1023s %15s", word, kind) >= 1) {
        if (!light_read(word, !strcmp(kind, "linear"), (double)cycles() / CYCLES_MS))
            say("fault no table %s", word);
    }
    else if (sscanf(line, "press %lf", &number) == 1) {
        set_button(1);
        button_until_ms = ms_now() + (unsigned long long)number;
        tell("down", pin);
    }
    else if (sscanf(line, "reset %lf", &number) == 1)
        come_up(2, (unsigned long long)number, 0); /* EXTRF */
    else if (sscanf(line, "power %lf", &number) == 1)
        come_up(1, (unsigned long long)number, -1); /* PORF */
    else if (sscanf(line, "paint %lf", &number) == 1)
        come_up(1, (unsigned long long)number, PAINT);
    else if (!strcmp(line, "hang"))
        hung = 1;
    else if (!strcmp(line, "tell"))
        tell("tell", pin);
    else if (!strcmp(line, "stack"))
        measure_stack();
    else
        say("fault what is %s", line);
}

/* The next instruction outside of an interrupt jumps to itself; the watchdog's reset takes it out again. */
static void hang(void)
{
    if (hung == 1 && avr->sreg[S_I]) {
        hung_at = avr->pc;
        memcpy(hung_word, avr->flash + hung_at, 2);
        memcpy(avr->flash + hung_at, "\xff\xcf", 2);
        hung = 2;
    }
}

/* The library has just reset the chip by itself, and kept its memory. */
static void watchdog_barked(void)
{
    if (barked_ms == ms_now())
        return; /* the firmware has yet to clear the cause */
    barked_ms = ms_now();
    if (hung == 2)
        memcpy(avr->flash + hung_at, hung_word, 2);
    hung = 0;
    set_pin(0);
    set_button(button_down);
    say("watchdog %llu", barked_ms);
}

static void run_ms(void)
{
    unsigned long long end = (ms_now() + 1) * CYCLES_MS;
    size_t bytes = in_length < BYTES_MS ? in_length : BYTES_MS;
    if (ms_now() < held_until_ms) {
        base = end - avr->cycle;
        return;
    }
    for (size_t i = 0; i < bytes; i++)
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), (uint8_t)in[i]);
    memmove(in, in + bytes, in_length -= bytes);
    if (button_down && ms_now() >= button_until_ms)
        set_button(0);
    while (cycles() < end) {
        int state = avr_run(avr);
        if (hung == 1)
            hang();
        if (avr->data[MCUSR] & WDRF)
            watchdog_barked();
        if (state == cpu_Done || state == cpu_Crashed) {
            say("fault the chip stopped");
            exit(1);
        }
    }
}

static void listen(int timeout_ms)
{
    static char line[4096];
    static size_t length;
    struct pollfd files[2] = {{wire_file(), POLLIN, 0}, {0, POLLIN, 0}};
    if (poll(files, 2, timeout_ms) <= 0)
        return;
    if (files[0].revents & POLLIN) {
        ssize_t n = read(wire_file(), in + in_length, sizeof in - in_length);
        in_length += n > 0 ? (size_t)n : 0;
    }
    if (files[1].revents) {
        ssize_t n = read(0, line + length, sizeof line - 1 - length);
        if (n <= 0)
            exit(0); /* whoever began it is gone */
        length += (size_t)n;
        for (char *end; (end = memchr(line, '\n', length));) {
            *end++ = 0;
            obey(line);
            length -= (size_t)(end - line);
            memmove(line, end, length);
        }
    }
}

static void log_apart(avr_t *a, const int level, const char *form, va_list list)
{
    (void)a;
    if (level <= LOG_ERROR)
        vfprintf(stderr, form, list);
}

static double seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

int main(int count, char **word)
{
    elf_firmware_t image = {0};
    uint32_t flags = 0;
    if (count != 7) {
        fprintf(stderr, "chip IMAGE SYMLINK PACE SEED REGISTER END\n");
        return 2;
    }
    double pace = atof(word[3]);
    srandom((unsigned)atoi(word[4]));
    register_at = (unsigned)strtoul(word[5], NULL, 0) & 0xFFFF;
    end_at = (unsigned)strtoul(word[6], NULL, 0) & 0xFFFF;
    avr_global_logger_set(log_apart);
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr || elf_read_firmware(word[1], &image) || !wire_open(word[2])) {
        fprintf(stderr, "chip: no image %s, or no terminal at %s: %s\n", word[1], word[2], strerror(errno));
        return 1;
    }
    avr_init(avr);
    avr_load_firmware(avr, &image);
    avr->frequency = HZ;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_convert, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 1), on_pin, NULL);
    come_up(1, 0, -1);
    say("ready");
    for (double began = seconds();;) {
        double due_ms = (seconds() - began) * 1000 * pace;
        if ((double)ms_now() > due_ms) {
            listen(1);
            continue;
        }
        listen(0);
        run_ms();
        wire_flush();
    }
}
