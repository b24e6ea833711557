/* The tare button: a press asks the host once, until it answers or five seconds are over. */
#ifndef TARE_H
#define TARE_H

#include <stdint.h>

void tare_turn(void);
uint8_t tare_asked(void);
void tare_done(void);

#endif
