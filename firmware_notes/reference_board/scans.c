/* See scans.h. Every converter runs by its own clock. Each is read soon after it becomes ready, so that none is ever
 * read while it converts; those ready together are read together. A scan is complete when every converter that is alive
 * has given a new count, and bears the time at which the last of them was ready. */
#include "scans.h"

#include <string.h>

#include "foreaft_wire.h"

#define LOWEST (-8388608L)
#define HIGHEST 8388607L
#define TILT_LOWEST (-32768L)
#define TILT_HIGHEST 32767L

/* After power-up, another gain or another rate four conversions are not settled (data sheet). One more: the gain takes
 * effect with the first reading, whose conversion was made before it. */
#define UNSETTLED 5
#define HELD_PERIODS 20u /* no longer than this is waited for settling: some converters hide what is not settled */

static const struct {
    uint16_t gain;
    uint8_t pulses;
    float units; /* mV/V per count: half the reference is full scale over the gain, and the reference is the supply */
} GAINS[] = {
    {128, 25, 500.0f / 128.0f / 8388608.0f},
    {64, 27, 500.0f / 64.0f / 8388608.0f},
};

static int32_t counts[CONVERTERS];  /* the last good ones */
static uint8_t pulses[CONVERTERS];
static uint8_t unsettled[CONVERTERS]; /* conversions still to be thrown away */
static uint8_t known;  /* masks: has ever given a good count */
static uint8_t fresh;  /* has given one since the last scan */
static uint8_t live;   /* scans wait for it */
static uint8_t heard;  /* has been read since scans_wake_silent was called last */
static uint8_t held;   /* scans wait until all have settled */
static uint32_t held_us, scan_us, ready_us, period_us;

static void settle(uint8_t mask)
{
    uint8_t i;
    for (i = 0; i < CONVERTERS; i++) {
        if (mask & (1u << i)) {
            unsettled[i] = UNSETTLED;
        }
    }
    fresh = (uint8_t)(fresh & ~mask);
}

static void hold(uint8_t mask)
{
    settle(mask);
    held = 1;
    held_us = board_ticks_us();
}

void scans_begin(void)
{
    memset(pulses, GAINS[0].pulses, sizeof pulses);
    scans_set_rate(80000);
    board_restart(ALL_CONVERTERS);
}

void scans_set_rate(uint32_t millihz)
{
    uint8_t fast = millihz == 80000;
    period_us = fast ? 12500 : 100000;
    board_set_fast(fast);
    hold(ALL_CONVERTERS);
}

uint8_t scans_set_gain(uint8_t converter, uint16_t gain)
{
    uint8_t i;
    for (i = 0; i < sizeof GAINS / sizeof *GAINS; i++) {
        if (GAINS[i].gain == gain) {
            pulses[converter] = GAINS[i].pulses;
            hold((uint8_t)(1u << converter));
            return 1;
        }
    }
    return 0;
}

float scans_units(uint16_t gain)
{
    return gain == GAINS[0].gain ? GAINS[0].units : GAINS[1].units;
}

uint8_t scans_silent(void)
{
    return held ? 0 : (uint8_t)(ALL_CONVERTERS & ~live);
}

uint8_t scans_at_end(void)
{
    uint8_t i, mask = 0;
    for (i = 0; i < CONVERTERS; i++) {
        if (counts[i] <= LOWEST || counts[i] >= HIGHEST) {
            mask = (uint8_t)(mask | 1u << i);
        }
    }
    return mask;
}

void scans_wake_silent(void)
{
    uint8_t mask = (uint8_t)(ALL_CONVERTERS & ~heard);
    heard = 0;
    if (mask) {
        board_restart(mask);
        settle(mask);
    }
}

static void take(void)
{
    uint32_t when_us[CONVERTERS];
    int32_t got[CONVERTERS];
    uint8_t i, ready = board_ready(when_us);
    if (!ready) {
        return;
    }
    ready = board_read(ready, pulses, got);
    heard |= ready;
    for (i = 0; i < CONVERTERS; i++) {
        uint8_t bit = (uint8_t)(1u << i);
        if (!(ready & bit)) {
            continue;
        }
        if (unsettled[i]) {
            unsettled[i]--;
            continue;
        }
        if (!fresh || (int32_t)(when_us[i] - ready_us) > 0) {
            ready_us = when_us[i];
        }
        counts[i] = got[i];
        known |= bit;
        fresh |= bit;
        live |= bit;
    }
}

/* Whether a scan is due although a converter is missing. */
static uint8_t waited(uint32_t now_us)
{
    if (held) {
        return now_us - held_us > HELD_PERIODS * period_us;
    }
    return now_us - scan_us > (live ? period_us + period_us / 2 : period_us);
}

uint8_t scans_turn(struct scan *scan)
{
    uint8_t i, wanted, missing;
    uint32_t now_us;
    take();
    now_us = board_ticks_us();
    wanted = held ? ALL_CONVERTERS : live;
    if (!(wanted && (fresh & wanted) == wanted) && !waited(now_us)) {
        return 0;
    }
    missing = (uint8_t)(ALL_CONVERTERS & ~fresh);
    scan->ready_us = fresh ? ready_us : now_us;
    scan->status = missing ? FOREAFT_ADC_ERROR : 0;
    for (i = 0; i < CONVERTERS; i++) {
        scan->counts[i] = known & (1u << i) ? counts[i] : LOWEST;
    }
    settle(live & missing); /* it may come back without its supply having stayed: at another gain, unsettled */
    live = fresh;
    fresh = held = 0;
    scan_us = now_us;
#if TILT
    scan->counts[CONVERTERS] = board_tilt();
#endif
    for (i = 0; i < CHANNELS; i++) {
        int32_t lowest = i < CONVERTERS ? LOWEST : TILT_LOWEST, highest = i < CONVERTERS ? HIGHEST : TILT_HIGHEST;
        if (scan->counts[i] <= lowest || scan->counts[i] >= highest) {
            scan->status |= FOREAFT_SATURATED;
        }
    }
    return 1;
}
