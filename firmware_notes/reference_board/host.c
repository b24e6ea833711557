/* See host.h. */
#include "host.h"

#include "hello.h"
#include "tare.h"

#define SECOND_US 1000000UL
#define REPLY_TEXT 36u /* the longest below */

static struct foreaft_receiver receiver;
static uint8_t out[HELLO_ROOM];
static uint16_t sequence;
static uint8_t hello_due;

/* Whole frames or nothing. */
static void send(size_t n)
{
    if (n > 0 && board_line_free() >= n) {
        board_send(out, n);
    }
}

void host_begin(void)
{
    static const uint8_t zero = 0;
    board_send(&zero, 1);
    send(hello_frame(out));
}

void host_scan(struct scan *scan)
{
    if (!me.running) {
        return;
    }
    if (tare_asked()) {
        scan->status |= FOREAFT_TARE_BUTTON;
    }
    if (board_take_mark()) {
        scan->status |= FOREAFT_CRANK_MARK;
    }
    send(foreaft_scan24(out, sizeof out, scan->ready_us, sequence, scan->status, scan->counts, CHANNELS));
    sequence++; /* also when it was not sent: the host sees the gap */
}

static uint8_t set_rate(const uint8_t *operands, const char **text)
{
    uint32_t asked = foreaft_read_u32(operands);
    uint8_t i;
    if (asked == 0) {
        *text = "a rate is above 0";
        return FOREAFT_BAD_OPERAND;
    }
    me.scan_rate_millihz = asked < 45000 ? 10000 : 80000;
    scans_set_rate(me.scan_rate_millihz);
    for (i = 0; i < CONVERTERS; i++) {
        channels[i].rate_millihz = me.scan_rate_millihz;
    }
    *text = me.scan_rate_millihz == 80000 ? "80 Hz" : "10 Hz";
    return FOREAFT_DONE;
}

static uint8_t set_gain(const uint8_t *operands, const char **text)
{
    uint8_t channel = operands[0];
    uint16_t gain = foreaft_read_u16(operands + 1);
    if (channel >= CHANNELS) {
        *text = "no such channel";
    } else if (channel >= CONVERTERS) {
        *text = "this channel has no amplifier";
    } else if (!scans_set_gain(channel, gain)) {
        *text = "gains are 128 and 64";
    } else {
        channels[channel].gain = gain;
        channels[channel].units_per_count = scans_units(gain);
        return FOREAFT_DONE;
    }
    return FOREAFT_BAD_OPERAND;
}

static uint8_t obey(uint8_t op, const uint8_t *operands, uint8_t n, const char **text)
{
    static const uint8_t LENGTHS[] = {0, 0, 0, 0, 4, 3, 0};
    if (op < FOREAFT_OP_HELLO || op > FOREAFT_OP_TARE_DONE) {
        return FOREAFT_UNKNOWN;
    }
    if (n != LENGTHS[op]) {
        *text = "wrong number of operands";
        return FOREAFT_BAD_OPERAND;
    }
    switch (op) {
    case FOREAFT_OP_SET_RATE:
        return set_rate(operands, text);
    case FOREAFT_OP_SET_GAIN:
        return set_gain(operands, text);
    case FOREAFT_OP_TARE_DONE:
        tare_done();
        break;
    case FOREAFT_OP_START:
    case FOREAFT_OP_STOP:
        me.running = op == FOREAFT_OP_START;
        break;
    }
    return FOREAFT_DONE;
}

static void answer(uint8_t n)
{
    const char *text = "";
    uint8_t request = receiver.bytes[1], op = receiver.bytes[2];
    uint8_t result = obey(op, receiver.bytes + 3, (uint8_t)(n - 3), &text);
    send(foreaft_reply(out, sizeof out, request, op, result, text));
    if (result == FOREAFT_DONE && op != FOREAFT_OP_TARE_DONE) {
        hello_due = 1;
    }
}

void host_turn(void)
{
    static uint32_t said_us;
    uint32_t now_us = board_ticks_us();
    int16_t byte;
    /* no command is taken before its reply has room: what comes meanwhile waits */
    while (board_line_free() >= FOREAFT_REPLY_ROOM(REPLY_TEXT) && (byte = board_receive()) >= 0) {
        uint8_t n = foreaft_receive(&receiver, (uint8_t)byte);
        if (n >= 3 && receiver.bytes[0] == FOREAFT_COMMAND) {
            answer(n);
        }
    }
    if (now_us - said_us >= SECOND_US) {
        said_us = now_us;
        hello_due = 1;
        scans_wake_silent();
    }
    if (hello_due && board_line_free() >= HELLO_ROOM) {
        board_send(out, hello_frame(out));
        hello_due = 0;
    }
}
