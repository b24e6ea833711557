/* The reference board on a bench that is not there: its machine code in libsimavr, with what is wired to its pins.
 *
 * bench.c runs the chip, converter.c is one weighing converter, figures.c is what is measured. All times are of the bench: they go on over a restart
 * of the board. Called from Python (ctypes); no function keeps a pointer it was given. */
#ifndef BENCH_H
#define BENCH_H

#include <stdint.h>
#include <simavr/sim_avr.h>

#define CONVERTERS_MOST 4
#define VECTORS 26

struct bench;

/* A converter, told of its clock line and of the end of each conversion. Figures of the data sheet: README.md. */
struct converter {
    struct bench *bench;
    uint8_t index;
    /* how it is made and what is wrong with it */
    double period_error;  /* share by which its own clock is slow */
    uint8_t hides;        /* keeps its line high while it settles */
    uint8_t unplugged, shorted; /* data line open, or tied to ground */
    uint8_t quick;        /* its conversion ends once the chip has read its line, high between two conversions, so often */
    uint32_t seed;        /* not 0: conversion n reads as made_up(seed, index, n), whatever the bridge */
    /* what it measures: counts at gain 128, their integral over the conversion that is going on */
    double input, sum;
    uint64_t since, begun;
    /* its state */
    uint16_t gain;
    uint8_t fast, line, clock, waiting, unsettled, pulses;
    int32_t shifting;
    uint32_t number;
    uint32_t life;        /* one more after each power-up: what was expected before does not come */
    uint64_t ready_at, clock_at;
};

struct figures {
    uint64_t cycles, idle;                   /* all, and those asleep */
    uint64_t latency[VECTORS], duration[VECTORS], served[VECTORS]; /* worst, worst, how often; cycles */
    uint64_t high_least, high_most, low_least, first_least; /* clock high, low, data ready to first pulse; cycles */
    uint64_t late_most;                      /* data ready to last pulse */
    uint64_t conversions, overtaken, torn, untimely, incomplete;
    uint64_t stack_untouched;                /* bytes of RAM never written */
};

enum { MARK, BUTTON, TILT_MV, INPUT, BYTE, UNPLUGGED, SHORTED, QUICK, CONVERTED };

struct bench *bench_new(const char *elf, uint32_t hz, uint32_t supply_mv);
void bench_free(struct bench *bench);
/* At this time, microseconds, this happens to converter or pin. Later calls may name earlier times, not past ones. */
void bench_at(struct bench *bench, double us, int what, int index, double value);
/* From the next conversion on; `hides` and errors of the clock as above. */
void bench_make(struct bench *bench, int index, double period_error, int hides, uint32_t seed);
/* Bytes to the board's receiving line at 250000 baud, from this time on or after those already under way. */
void bench_hear(struct bench *bench, double us, const uint8_t *bytes, int n);
/* Run until then. 0, or what stopped the chip. */
int bench_run(struct bench *bench, double until_us);
double bench_now_us(struct bench *bench);
/* Take up to room bytes the board has sent, each with the time at which its last bit had gone out. */
int bench_said(struct bench *bench, uint8_t *bytes, double *us, int room);
/* The supply dips: RAM holds anything, the reset flags say why. */
void bench_brown_out(struct bench *bench);
/* Data memory and EEPROM, for a look or to set a scene. */
uint8_t bench_peek(struct bench *bench, uint16_t at);
void bench_poke(struct bench *bench, uint16_t at, uint8_t value);
void bench_eeprom(struct bench *bench, uint16_t at, uint8_t *bytes, int n, int write);
/* Other code there; before: what stood there. */
void bench_flash(struct bench *bench, uint32_t at, const uint8_t *code, uint8_t *before, int n);
uint8_t bench_light(struct bench *bench);
void bench_figures(struct bench *bench, struct figures *figures);

/* For converter.c. */
uint64_t bench_cycle(struct bench *bench);
struct figures *bench_counted(struct bench *bench);
double bench_hz(struct bench *bench);
void bench_line(struct bench *bench, uint8_t index, uint8_t level);
void bench_expect(struct bench *bench, uint8_t index, uint32_t life, uint64_t cycles); /* converter_done then */

void converter_begin(struct converter *converter, struct bench *bench, uint8_t index);
void converter_clock(struct converter *converter, uint8_t level);
void converter_rate(struct converter *converter, uint8_t fast);
void converter_input(struct converter *converter, double counts);
void converter_show(struct converter *converter);
void converter_unplug(struct converter *converter, uint8_t unplugged);
void converter_short(struct converter *converter, uint8_t shorted);
/* The chip has just read its data line. Whether its conversion ends with that. */
uint8_t converter_seen(struct converter *converter);
/* A conversion ends now, unless the converter has begun anew since it was expected. */
void converter_done(struct converter *converter, uint32_t life);
int32_t made_up(uint32_t seed, uint32_t index, uint32_t number);

#endif
