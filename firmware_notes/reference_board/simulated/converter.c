/* One two-wire weighing converter of 24 bits, by the figures of the data sheet in README.md. */
#include <math.h>
#include <string.h>

#include "bench.h"

#define DOWN_S 60e-6 /* a clock high for longer powers it down */
#define UNSETTLED 4

int32_t made_up(uint32_t seed, uint32_t index, uint32_t number)
{
    uint32_t x = seed * 0x9E3779B9u + index * 0x85EBCA6Bu + number * 0xC2B2AE35u;
    x ^= x >> 16;
    x *= 0x7FEB352Du;
    x ^= x >> 15;
    x *= 0x846CA68Bu;
    x ^= x >> 16;
    return (int32_t)(x << 8) >> 8;
}

void converter_show(struct converter *c)
{
    bench_line(c->bench, c->index, c->shorted ? 0 : c->unplugged ? 1 : c->line);
}

static void set_line(struct converter *c, uint8_t level)
{
    c->line = level;
    converter_show(c);
}

static uint64_t converter_period(const struct converter *c)
{
    return (uint64_t)(bench_hz(c->bench) / (c->fast ? 80.0 : 10.0) * (1.0 + c->period_error));
}

static void power_up(struct converter *c)
{
    c->gain = 128;
    c->unsettled = UNSETTLED;
    c->waiting = 0;
    c->pulses = 0;
    c->sum = 0;
    c->begun = c->since = bench_cycle(c->bench);
    set_line(c, 1);
    bench_expect(c->bench, c->index, ++c->life, converter_period(c));
}

void converter_unplug(struct converter *c, uint8_t unplugged)
{
    c->unplugged = unplugged;
    power_up(c);
}

void converter_short(struct converter *c, uint8_t shorted)
{
    c->shorted = shorted;
    converter_show(c);
}

void converter_begin(struct converter *c, struct bench *bench, uint8_t index)
{
    memset(c, 0, sizeof *c);
    c->bench = bench;
    c->index = index;
    power_up(c);
}

void converter_rate(struct converter *c, uint8_t fast)
{
    if (fast != c->fast) {
        c->fast = fast;
        c->unsettled = UNSETTLED;
    }
}

void converter_input(struct converter *c, double counts)
{
    uint64_t now = bench_cycle(c->bench);
    c->sum += c->input * (double)(now - c->since);
    c->since = now;
    c->input = counts;
}

static int32_t converted(struct converter *c)
{
    uint64_t now = bench_cycle(c->bench);
    double mean;
    converter_input(c, c->input);
    mean = c->sum / (double)(now - c->begun);
    c->sum = 0;
    c->begun = now;
    if (c->seed) {
        return made_up(c->seed, c->index, c->number) ^ (c->unsettled ? 0x155555 : 0);
    }
    mean = rint(mean * c->gain / 128.0 * (UNSETTLED - c->unsettled) / UNSETTLED);
    return mean > 8388607.0 ? 8388607 : mean < -8388608.0 ? -8388608 : (int32_t)mean;
}

static void take_gain(struct converter *c)
{
    static const uint16_t GAINS[] = {128, 32, 64};
    if (c->pulses >= 25 && c->pulses <= 27) {
        uint16_t asked = GAINS[c->pulses - 25];
        if (asked != c->gain) {
            c->gain = asked;
            c->unsettled = UNSETTLED;
        }
    } else if (c->pulses != 0) {
        bench_counted(c->bench)->incomplete++;
    }
}

void converter_done(struct converter *c, uint32_t life)
{
    struct figures *counted = bench_counted(c->bench);
    uint64_t now = bench_cycle(c->bench);
    if (life != c->life || c->unplugged || (c->clock && now - c->clock_at > (uint64_t)(DOWN_S * bench_hz(c->bench)))) {
        return; /* begun anew since; without supply; powered down */
    }
    bench_expect(c->bench, c->index, life, converter_period(c));
    counted->conversions++;
    if (c->waiting) {
        *(c->pulses ? &counted->torn : &counted->overtaken) += 1;
    }
    take_gain(c);
    c->shifting = converted(c);
    c->number++;
    c->pulses = 0;
    if (c->unsettled) {
        c->unsettled--;
        if (c->hides) {
            return;
        }
    }
    c->waiting = 1;
    c->ready_at = now;
    set_line(c, 0);
}

uint8_t converter_seen(struct converter *c)
{
    return c->quick && c->pulses > 24 && c->line && --c->quick == 0;
}

static void rising(struct converter *c, uint64_t now)
{
    struct figures *counted = bench_counted(c->bench);
    c->pulses++;
    if (c->waiting && c->pulses == 1) {
        uint64_t first = now - c->ready_at;
        counted->first_least = first < counted->first_least ? first : counted->first_least;
    } else if (c->pulses > 1 && now - c->clock_at < counted->low_least) {
        counted->low_least = now - c->clock_at;
    }
    if (!c->waiting && c->pulses <= 24 && !c->unplugged && !c->shorted) {
        counted->untimely++;
    }
    if (c->pulses <= 24) {
        set_line(c, c->waiting ? (uint8_t)(c->shifting >> (24 - c->pulses) & 1) : 1);
    } else {
        set_line(c, 1);
        if (c->waiting && now - c->ready_at > counted->late_most) {
            counted->late_most = now - c->ready_at;
        }
        c->waiting = 0;
    }
}

void converter_clock(struct converter *c, uint8_t level)
{
    struct figures *counted = bench_counted(c->bench);
    uint64_t now = bench_cycle(c->bench), lasted = now - c->clock_at;
    if (level == c->clock) {
        return;
    }
    if (level) {
        rising(c, now);
    } else if (lasted > (uint64_t)(DOWN_S * bench_hz(c->bench))) {
        power_up(c);
    } else {
        counted->high_most = lasted > counted->high_most ? lasted : counted->high_most;
        counted->high_least = lasted < counted->high_least ? lasted : counted->high_least;
    }
    c->clock = level;
    c->clock_at = now;
}
