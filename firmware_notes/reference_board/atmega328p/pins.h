/* Which pin does what, as ../wiring.svg draws it. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Converter i: data on PD4+i (inputs with pull-up, one pin-change interrupt), clock on PC0+i. */
#define DATA_IN PIND
#define DATA_PULL_UP PORTD
#define DATA_SHIFT 4
#define DATA_INTERRUPTS PCMSK2
#define CLOCK_OUT PORTC
#define CLOCK_DIRECTION DDRC

#define MARK_PIN PD2   /* INT0, low while the magnet is there */
#define BUTTON_PIN PD3 /* low while pressed */
#define RATE_PIN PB0   /* to all converters: high for 80 a second */
#define LIGHT_PIN PB5  /* the light most boards carry */
#define TILT_INPUT 5   /* ADC5 */

#endif
