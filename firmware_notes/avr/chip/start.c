#include "start.h"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "stir.h"

extern uint8_t _end; /* of all variables, from the linker: above it lies the stack alone */

static uint32_t EEMEM power_ups;
static uint8_t cause __attribute__((section(".noinit")));

/* Before main, and before variables are cleared: after a reset by the watchdog it is still running, at its shortest. */
void start_early(void) __attribute__((naked, used, section(".init3")));
void start_early(void)
{
    cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

bool start_had_power(void)
{
    /* A bootloader may have cleared the register; then 0 is found, and the checksum alone decides. */
    return !(cause & _BV(PORF));
}

uint32_t start_ram_seed(void)
{
    uint32_t seed = 2166136261ul;
    for (const uint8_t *at = &_end; at < (const uint8_t *)SP - 16; at++)
        seed = stir(seed, *at);
    return seed;
}

/* The count of power-ups comes last and its low byte at the very end: with the same memory and the same noise two
 * power-ups in a row still never draw the same. */
uint32_t start_boot(uint32_t seed)
{
    uint32_t count = eeprom_read_dword(&power_ups) + 1;
    eeprom_update_dword(&power_ups, count);
    for (uint8_t shift = 32; shift;) {
        shift -= 8;
        seed = stir(seed, (uint8_t)(count >> shift));
    }
    return seed;
}
