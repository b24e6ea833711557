/* Converters to scans: read on data-ready, settled, one scan when all have answered. */
#ifndef SCANS_H
#define SCANS_H

#include "board.h"

#define CHANNELS (CONVERTERS + TILT)

struct scan {
    int32_t counts[CHANNELS];
    uint32_t ready_us;
    uint8_t status; /* FOREAFT_SATURATED and FOREAFT_ADC_ERROR only */
};

void scans_begin(void);

/* Take what is ready. 1 when a scan is complete, or when it has waited long enough for a converter that is silent. */
uint8_t scans_turn(struct scan *scan);

/* Once a second: converters that have said nothing are powered down and up. */
void scans_wake_silent(void);

/* 80000 or 10000; all converters settle anew. */
void scans_set_rate(uint32_t millihz);
/* 0 when the converter has no such gain. */
uint8_t scans_set_gain(uint8_t converter, uint16_t gain);
/* mV/V per count at a gain the converter has. */
float scans_units(uint16_t gain);

/* Converters that do not answer, and those at an end of their scale. */
uint8_t scans_silent(void);
uint8_t scans_at_end(void);

#endif
