/* What the core wants of a board: clock, line, converters, three inputs, a light. To port the firmware write these.
 *
 * Converters are numbered from 0; a mask has bit i for converter i. All are called from the main loop only. */
#ifndef BOARD_H
#define BOARD_H

#include <stddef.h>
#include <stdint.h>

#include "config.h"

#if CONVERTERS < 1 || CONVERTERS > 4
#error "one to four converters"
#endif

#define ALL_CONVERTERS ((uint8_t)((1u << CONVERTERS) - 1u))

struct board_start {
    uint8_t id[8];             /* fixed for the life of the board */
    uint32_t boot;             /* another one after each start */
    const char *cause;         /* of the start, in a word */
    uint8_t supply_decivolt;   /* 50: 5.0 V */
};

/* Everything ready to run, converters powered but not yet read. */
void board_begin(struct board_start *start);

/* Sleep until something may have happened, 5 ms at most; keep the watchdog quiet. */
void board_wait(void);

/* Microseconds since the start, wrapping at 2^32. */
uint32_t board_ticks_us(void);

/* Bytes the line takes now without waiting; at least one hello and one scan when it is idle. */
size_t board_line_free(void);
void board_send(const uint8_t *bytes, size_t n);
/* The next byte from the host, or -1. */
int16_t board_receive(void);

/* Converters whose data became ready since they were read last; ready_us[i] is when. */
uint8_t board_ready(uint32_t ready_us[CONVERTERS]);
/* Read these converters together, pulses[i] clock pulses each. Gives the mask of those whose data line rose after the
 * last pulse, as it must. Only these counts mean anything. */
uint8_t board_read(uint8_t mask, const uint8_t pulses[CONVERTERS], int32_t counts[CONVERTERS]);
/* Power these converters down and up again, all at the same moment. */
void board_restart(uint8_t mask);
/* 80 conversions a second, or 10. */
void board_set_fast(uint8_t fast);

/* The mean of the tilt sensor's last 20 ms, -32768 to 32767; at either end the sensor is unplugged or short. */
int16_t board_tilt(void);
/* Whether the crank has passed its mark since the last call. */
uint8_t board_take_mark(void);
/* Whether the tare button is down now, bouncing and all. */
uint8_t board_button(void);
void board_light(uint8_t on);

#endif
