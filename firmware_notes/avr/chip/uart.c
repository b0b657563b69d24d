#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "../settings.h"

#define BAUD_TOL 3
#include <util/setbaud.h> /* 115200 at 16 MHz comes to 117647, 2.1 % fast; see the notes */

#define OUT_SIZE 256 /* indices are bytes and wrap by themselves */
#define IN_SIZE 128

static volatile uint8_t out_head, out_tail, in_head, in_tail;
static char out[OUT_SIZE];
static char in[IN_SIZE];

void uart_begin(void)
{
    UCSR0A = USE_2X ? _BV(U2X0) : 0; /* first: the simulator reckons its speed when the divisor is written */
    UBRR0H = UBRRH_VALUE;
    UBRR0L = UBRRL_VALUE;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 data bits, no parity, one stop bit */
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART_RX_vect)
{
    char byte = (char)UDR0;
    uint8_t next = (uint8_t)(in_head + 1) % IN_SIZE;
    if (next == in_tail)
        return; /* lost: the checksum of its line tells */
    in[in_head] = byte;
    in_head = next;
}

ISR(USART_UDRE_vect)
{
    if (out_tail == out_head) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = (uint8_t)out[out_tail++];
}

uint8_t uart_room(void)
{
    return (uint8_t)(OUT_SIZE - 1 - (uint8_t)(out_head - out_tail));
}

bool uart_say(const char *bytes, uint8_t length)
{
    if (length > uart_room())
        return false;
    uint8_t head = out_head;
    for (uint8_t i = 0; i < length; i++)
        out[head++] = bytes[i];
    out_head = head; /* only now does the interrupt see it, whole */
    UCSR0B |= _BV(UDRIE0);
    return true;
}

bool uart_heard(void)
{
    return in_head != in_tail;
}

bool uart_hear(char *byte)
{
    if (!uart_heard())
        return false;
    *byte = in[in_tail];
    in_tail = (uint8_t)(in_tail + 1) % IN_SIZE;
    return true;
}
