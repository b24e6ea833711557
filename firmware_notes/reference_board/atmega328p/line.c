/* The serial line: 250000 baud, which 16 and 8 MHz divide without an error. */
#include <avr/interrupt.h>

#include "inside.h"

#define BAUD 250000UL

static uint8_t sending[256]; /* both indices wrap by themselves */
static volatile uint8_t sending_head, sending_tail;
static uint8_t received[64];
static volatile uint8_t received_head, received_tail;

ISR(USART_UDRE_vect)
{
    uint8_t tail = sending_tail;
    if (tail == sending_head) {
        UCSR0B &= (uint8_t)~(1 << UDRIE0);
    } else {
        UDR0 = sending[tail];
        sending_tail = (uint8_t)(tail + 1);
    }
}

ISR(USART_RX_vect)
{
    uint8_t byte = UDR0, next = (uint8_t)((received_head + 1) % sizeof received);
    if (next != received_tail) { /* else it is lost, and the check of its frame fails */
        received[received_head] = byte;
        received_head = next;
    }
    something_happened = 1;
}

void line_begin(void)
{
    UBRR0 = F_CPU / 8 / BAUD - 1;
    UCSR0A = 1 << U2X0;
    UCSR0C = 3 << UCSZ00;
    UCSR0B = 1 << TXEN0 | 1 << RXEN0 | 1 << RXCIE0;
}

size_t board_line_free(void)
{
    return (uint8_t)(sending_tail - sending_head - 1);
}

void board_send(const uint8_t *bytes, size_t n)
{
    while (n--) {
        sending[sending_head] = *bytes++;
        sending_head++;
    }
    cli();
    UCSR0B |= 1 << UDRIE0;
    sei();
}

int16_t board_receive(void)
{
    uint8_t tail = received_tail, byte;
    if (tail == received_head) {
        return -1;
    }
    byte = received[tail];
    received_tail = (uint8_t)((tail + 1) % sizeof received);
    return byte;
}
