/* See hello.h. The text of the firmware tells why the board started and what the self-test finds, each time anew:
 * "reference 1.0, brown-out, 5.0 V, no answer from 0 2". */
#include "hello.h"

#include <string.h>

#include "board.h"

struct foreaft_hello me;
struct foreaft_channel channels[CHANNELS];

static const char *const NAMES[] = {CONVERTER_NAMES};
static struct board_start start;
static char firmware[FIRMWARE_TEXT + 1];

void hello_begin(void)
{
    uint8_t i;
    board_begin(&start);
    for (i = 0; i < CONVERTERS; i++) {
        struct foreaft_channel bridge = {NAMES[i], FOREAFT_BRIDGE, 24, 128, 80000, 0};
        bridge.units_per_count = scans_units(128);
        channels[i] = bridge;
    }
#if TILT
    {
        static const struct foreaft_channel tilt = {TILT_NAME, FOREAFT_TILT, 16, 1, 50080, TILT_UNITS};
        channels[CONVERTERS] = tilt;
    }
#endif
    memcpy(me.board_id, start.id, sizeof me.board_id);
    me.boot = start.boot;
    me.scan_rate_millihz = 80000;
    me.running = 1;
    me.firmware = firmware;
    me.channels = channels;
    me.channel_count = CHANNELS;
}

static char *add(char *at, const char *text)
{
    while (*text && at < firmware + FIRMWARE_TEXT) {
        *at++ = *text++;
    }
    *at = 0;
    return at;
}

static char *add_numbers(char *at, const char *what, uint8_t mask)
{
    char number[] = " 0";
    if (mask) {
        at = add(at, what);
        for (; mask; mask = (uint8_t)(mask >> 1), number[1]++) {
            at = mask & 1 ? add(at, number) : at;
        }
    }
    return at;
}

static void describe(void)
{
    char volts[] = "0.0 V";
    char *at = firmware;
    volts[0] = (char)('0' + start.supply_decivolt / 10);
    volts[2] = (char)('0' + start.supply_decivolt % 10);
    at = add(add(at, FIRMWARE ", "), start.cause);
    at = add(add(at, ", "), volts);
    at = add_numbers(at, ", no answer from", scans_silent());
    add_numbers(at, ", at its end", scans_at_end());
}

size_t hello_frame(uint8_t out[HELLO_ROOM])
{
    describe();
    me.ticks_us = board_ticks_us();
    return foreaft_hello(out, HELLO_ROOM, &me);
}
