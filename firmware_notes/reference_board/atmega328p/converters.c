/* Two-wire converters: the data line falls when a conversion is ready; each clock pulse brings one bit, most
 * significant first; the pulses after the 24th raise the line and set the gain of the next conversion. A clock that
 * stays high for more than 60 us powers the converter down. Times from the data sheet: ../README.md. */
#include <avr/interrupt.h>
#include <util/delay.h>

#include "../board.h"
#include "inside.h"
#include "pins.h"

#define HALF_US (F_CPU / 2000000UL) /* cycles */
#define DATA_MASK ((uint8_t)(ALL_CONVERTERS << DATA_SHIFT))
#define DOWN_US 100 /* more than 60 */

static volatile uint8_t fallen;
static volatile uint32_t fallen_us[CONVERTERS];

/* A line is watched from when it was seen high until it falls. Interrupts are off here. */
static void note_fallen(void)
{
    uint8_t now_low = (uint8_t)(~DATA_IN & DATA_INTERRUPTS);
    volatile uint32_t *at = fallen_us;
    uint32_t now_us;
    if (!now_low) {
        return;
    }
    DATA_INTERRUPTS = (uint8_t)(DATA_INTERRUPTS & ~now_low);
    now_us = ticks_us();
    now_low = (uint8_t)(now_low >> DATA_SHIFT);
    fallen |= now_low;
    for (; now_low; now_low = (uint8_t)(now_low >> 1), at++) {
        if (now_low & 1) {
            *at = now_us;
        }
    }
    something_happened = 1;
}

/* Watch the lines that are high and not yet taken; which are high. Interrupts are off here. */
static uint8_t watch(void)
{
    uint8_t high = (uint8_t)(DATA_IN & DATA_MASK);
    DATA_INTERRUPTS |= (uint8_t)(high & ~(fallen << DATA_SHIFT));
    note_fallen(); /* a line that fell just now, before it was watched */
    return (uint8_t)(high >> DATA_SHIFT);
}

ISR(PCINT2_vect)
{
    note_fallen();
}

void converters_begin(void)
{
    DATA_PULL_UP |= DATA_MASK; /* an unplugged line is high: never ready */
    CLOCK_DIRECTION |= ALL_CONVERTERS;
    DDRB |= 1 << RATE_PIN;
    PCICR = 1 << PCIE2;
}

uint8_t board_ready(uint32_t ready_us[CONVERTERS])
{
    uint8_t ready, i;
    cli();
    watch(); /* one that was low when it was read last may have risen since */
    ready = fallen;
    fallen = 0;
    sei();
    for (i = 0; i < CONVERTERS; i++) { /* none of those ready can change before it is watched again */
        if (ready & (1u << i)) {
            ready_us[i] = fallen_us[i];
        }
    }
    return ready;
}

/* One pulse; the time it is high must not grow by an interrupt. */
static inline void pulse(uint8_t mask)
{
    uint8_t low = (uint8_t)(CLOCK_OUT & ~mask), high = CLOCK_OUT | mask;
    cli();
    CLOCK_OUT = high;
    __builtin_avr_delay_cycles(HALF_US);
    CLOCK_OUT = low;
    sei();
}

static int32_t assembled(const uint8_t seen[24], uint8_t data_bit)
{
    uint8_t bytes[3], i, bit;
    for (i = 0; i < 3; i++) {
        uint8_t byte = 0;
        for (bit = 0; bit < 8; bit++) {
            byte = (uint8_t)(byte << 1);
            if (*seen++ & data_bit) {
                byte |= 1;
            }
        }
        bytes[i] = byte;
    }
    return (int32_t)((uint32_t)(bytes[0] & 0x80 ? 0xFF : 0) << 24 | (uint32_t)bytes[0] << 16 | (uint32_t)bytes[1] << 8
                     | bytes[2]);
}

uint8_t board_read(uint8_t mask, const uint8_t pulses[CONVERTERS], int32_t counts[CONVERTERS])
{
    uint8_t seen[24], i, more, risen;
    for (i = 0; i < sizeof seen; i++) {
        pulse(mask);
        seen[i] = DATA_IN; /* the bit stays until the next pulse */
        __builtin_avr_delay_cycles(HALF_US);
    }
    more = mask;
    for (i = 24; more; i++) {
        uint8_t k;
        for (k = 0; k < CONVERTERS; k++) {
            if (pulses[k] <= i) {
                more = (uint8_t)(more & ~(1u << k));
            }
        }
        if (more) {
            pulse(more);
            __builtin_avr_delay_cycles(HALF_US);
        }
    }
    cli();
    risen = mask & watch(); /* one look: a line that falls between two would be read and never watched */
    sei();
    for (i = 0; i < CONVERTERS; i++) {
        if (risen & (1u << i)) {
            counts[i] = assembled(seen, (uint8_t)(1u << (i + DATA_SHIFT)));
        }
    }
    return risen;
}

void board_restart(uint8_t mask)
{
    cli();
    DATA_INTERRUPTS = (uint8_t)(DATA_INTERRUPTS & ~(mask << DATA_SHIFT));
    fallen = (uint8_t)(fallen & ~mask);
    sei();
    CLOCK_OUT |= mask;
    _delay_us(DOWN_US);
    CLOCK_OUT = (uint8_t)(CLOCK_OUT & ~mask);
    cli();
    watch();
    sei();
}

void board_set_fast(uint8_t fast)
{
    if (fast) {
        PORTB |= 1 << RATE_PIN;
    } else {
        PORTB &= (uint8_t)~(1 << RATE_PIN);
    }
}
