/* Tilt sensor, crank mark, button, light.
 *
 * A timer samples the tilt sensor 3205 times a second; 64 samples are one value, every 20 ms: one turn of 50 Hz mains. */
#include <avr/interrupt.h>
#include <util/delay.h>

#include "inside.h"
#include "pins.h"

#define SAMPLES 64u
#define MIDDLE 32736         /* of the sum of 64 samples of 10 bits */
#define END 256u             /* 4 counts of 1024 from an end, in the mean: no live sensor goes there */
#define LOOK_EVERY 8u        /* the main loop looks around every 2.5 ms */
#define HOLD_OFF_US 100000UL /* between two crank marks */

#define REFERENCE_SUPPLY (1 << REFS0)
#define BANDGAP 0x0E
#define TEMPERATURE (1 << REFS1 | 1 << REFS0 | 8)

static volatile int16_t tilt;
static volatile uint8_t marked;

ISR(TIMER0_COMPA_vect)
{
    static uint16_t sum;
    static uint8_t n;
    uint16_t sample = ADC;
    ADCSRA |= 1 << ADSC;
    sum += sample;
    if (++n == SAMPLES) {
        tilt = sum < END ? INT16_MIN : sum > 2u * MIDDLE - END ? INT16_MAX : (int16_t)(sum - MIDDLE);
        sum = 0;
        n = 0;
    }
    if (n % LOOK_EVERY == 0) {
        something_happened = 1;
    }
}

/* A contact bounces and a wire catches spikes: the pin must still be low, and the last mark 100 ms ago. */
ISR(INT0_vect)
{
    static uint32_t marked_us;
    static uint8_t ever;
    uint32_t now_us = ticks_us();
    if (!(PIND & (1 << MARK_PIN)) && (!ever || now_us - marked_us >= HOLD_OFF_US)) {
        marked = ever = 1;
        marked_us = now_us;
    }
}

static uint16_t convert(uint8_t input)
{
    ADMUX = input;
    _delay_ms(1); /* the bandgap and the sampling capacitor settle */
    ADCSRA |= 1 << ADSC;
    while (ADCSRA & (1 << ADSC)) {
    }
    return ADC;
}

void inputs_begin(void)
{
    PORTD |= 1 << MARK_PIN | 1 << BUTTON_PIN;
    DDRB |= 1 << LIGHT_PIN;
    DIDR0 = 1 << TILT_INPUT;
    EICRA = 1 << ISC01; /* falling edge */
    EIMSK = 1 << INT0;
    ADMUX = REFERENCE_SUPPLY | TILT_INPUT;
    TCCR0A = 1 << WGM01;
    TCCR0B = 1 << CS01 | 1 << CS00;
    OCR0A = F_CPU / 64 / 3205;
    TIMSK0 = 1 << OCIE0A;
    ADCSRA |= 1 << ADSC;
}

uint8_t supply_decivolt(void)
{
    uint16_t of_supply;
    ADCSRA = 1 << ADEN | 1 << ADPS2 | 1 << ADPS1 | (F_CPU > 8000000UL ? 1 << ADPS0 : 0); /* 125 kHz */
    convert(REFERENCE_SUPPLY | BANDGAP);
    of_supply = convert(REFERENCE_SUPPLY | BANDGAP);
    return of_supply ? (uint8_t)((11UL * 1024 + of_supply / 2) / of_supply) : 0; /* the bandgap is 1.1 V */
}

uint32_t noise(void)
{
    uint32_t mixed = 2166136261UL; /* FNV-1a, over more samples than there is noise in one */
    uint8_t i;
    for (i = 0; i < 100; i++) {
        mixed = (mixed ^ convert(i & 1 ? TEMPERATURE : (uint8_t)(REFERENCE_SUPPLY | TILT_INPUT))) * 16777619UL;
    }
    return mixed;
}

int16_t board_tilt(void)
{
    int16_t now;
    cli();
    now = tilt;
    sei();
    return now;
}

uint8_t board_take_mark(void)
{
    uint8_t was;
    cli();
    was = marked;
    marked = 0;
    sei();
    return was;
}

uint8_t board_button(void)
{
    return !(PIND & (1 << BUTTON_PIN));
}

void board_light(uint8_t on)
{
    if (on) {
        PORTB |= 1 << LIGHT_PIN;
    } else {
        PORTB &= (uint8_t)~(1 << LIGHT_PIN);
    }
}
