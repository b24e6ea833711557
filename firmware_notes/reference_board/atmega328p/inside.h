/* Between the files of this folder. */
#ifndef INSIDE_H
#define INSIDE_H

#include <stdint.h>

#include "../board.h"

/* Set by what the main loop has to look at; board_wait sleeps until then. */
extern volatile uint8_t something_happened;

/* Microseconds since the start; interrupts are off. */
uint32_t ticks_us(void);

/* Interrupts are off. */
void converters_begin(void);
void line_begin(void);
void inputs_begin(void);
uint8_t supply_decivolt(void);
/* Random from the noise of the analogue inputs: 10 bits that are not used, of many. */
uint32_t noise(void);

#endif
