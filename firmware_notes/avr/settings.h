/* What is yours: who the node is, how its sensor is read, and where things are wired.
 *
 * A count is one conversion's step divided by what is added up for a sample: each millisecond OVERSAMPLES conversions of
 * 10 bits are added, and the sum is the sample. It is always whole. So full scale is 1023 * OVERSAMPLES, and one count is
 * reference / 1023 / OVERSAMPLES volt.
 */
#ifndef SETTINGS_H
#define SETTINGS_H

/* Told by `who`. Words without blanks; "-" for one that you do not know. A change of sensor, gain or reference makes it
 * another sensor: its scale and its targets are to be proved anew. */
#define NODE_NAME "sill"
#define NODE_SENSOR "analog"
#define NODE_GAIN "1.1V"
#define NODE_ZERO "0" /* counts in the dark, as measured with the sensor covered */
#define NODE_FIRMWARE "avr-1"

/* Lines a second after power-up, in thousandths. */
#define NODE_RATE_MILLIHZ 2000

#define OVERSAMPLES 4 /* 1 to 8: this many conversions of 104 us must fit into a millisecond */
#define FULL_SCALE (1023 * OVERSAMPLES)

/* 1: the chip's own 1.1 V, steady when the supply is not; for sensors of up to 1 V.
 * 0: the supply (AVCC), for sensors whose output follows it or goes higher. */
#define REFERENCE_1V1 1
#define ADC_CHANNEL 0 /* A0 */

#define BAUD 115200

/* Pins as letter of the port and number of the bit; the drawing on common boards in brackets. */
#define BUZZER_PORT PORTB
#define BUZZER_DDR DDRB
#define BUZZER_BIT 1 /* PB1 (D9): high sounds, through a transistor; an active buzzer */
#define BUTTON_PORT PORTD
#define BUTTON_DDR DDRD
#define BUTTON_PIN PIND
#define BUTTON_BIT 2 /* PD2 (D2): to ground, the chip pulls it up */

#endif
