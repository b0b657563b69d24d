#include "sampler.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>

#include "../settings.h"
#include "stir.h"

#if OVERSAMPLES < 1 || OVERSAMPLES > 8
#error "OVERSAMPLES: 1 to 8"
#endif

#define SELECT ((REFERENCE_1V1 ? _BV(REFS1) | _BV(REFS0) : _BV(REFS0)) | ADC_CHANNEL)
#define SETTLE_MS 10 /* the reference and its capacitor */

static volatile struct passed since;
static volatile uint16_t sample;
static volatile uint8_t left, saturated;

ISR(TIMER0_COMPA_vect)
{
    since.ms++;
    since.counts_ms += sample;
    since.sat_ms += saturated;
    if (left) /* cannot be with 8 conversions at most; were it so, the sample before would stand for this one too */
        return;
    sample = 0;
    saturated = 0;
    left = OVERSAMPLES;
    ADCSRA |= _BV(ADSC);
}

ISR(ADC_vect)
{
    uint16_t steps = ADC;
    sample += steps;
    if (steps >= 1023)
        saturated = 1;
    if (--left)
        ADCSRA |= _BV(ADSC);
}

static uint16_t convert(void)
{
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC)) {
    }
    return ADC;
}

uint32_t sampler_begin(uint32_t seed)
{
    DIDR0 = _BV(ADC_CHANNEL);
    ADMUX = SELECT;
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0); /* 125 kHz, within the 50 to 200 of the data sheet */
    for (uint8_t i = 0; i < 16; i++) /* while the reference comes up, its last bits are noise */
        seed = stir(seed, (uint8_t)convert());
    _delay_ms(SETTLE_MS);
    for (uint8_t i = 0; i < OVERSAMPLES; i++) { /* the sample that the first tick finds */
        uint16_t steps = convert();
        sample += steps;
        saturated |= steps >= 1023;
    }
    return seed;
}

void sampler_go(void)
{
    TCCR0A = _BV(WGM01); /* count to OCR0A */
    OCR0A = F_CPU / 64 / 1000 - 1;
    TCCR0B = _BV(CS01) | _BV(CS00); /* by 64 */
    TIMSK0 = _BV(OCIE0A);
    ADCSRA |= _BV(ADIF); /* what the conversions before left is not an interrupt */
    ADCSRA |= _BV(ADIE);
}

uint8_t sampler_due(void)
{
    return (uint8_t)since.ms;
}

void sampler_take(struct passed *passed)
{
    uint8_t status = SREG;
    cli();
    passed->counts_ms = since.counts_ms;
    passed->ms = since.ms;
    passed->sat_ms = since.sat_ms;
    since.counts_ms = 0;
    since.ms = 0;
    since.sat_ms = 0;
    SREG = status;
}
