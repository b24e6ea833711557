/* See foreaft_wire.h. */
#include "foreaft_wire.h"

#include <string.h>

#define GOOD_CRC 0xF0B8u /* what the CRC register holds after body and crc, before the complement (RFC 1662) */

/* One frame being written: stuffing and check go along with every byte, so no second buffer is needed. */
struct writer {
    uint8_t *out;
    size_t room;
    size_t length;
    size_t code_at; /* where the length of the present block will stand */
    uint8_t code;   /* 1 + bytes in the present block; 0xFF: full, the next byte opens another */
    uint8_t failed;
    uint16_t crc;
};

uint16_t foreaft_crc_step(uint16_t crc, uint8_t byte)
{
    /* Eight steps of the shift register at once: 0x8408 has so few bits set that what they do can be written out. */
    byte = (uint8_t)(byte ^ (crc & 0xFFu));
    byte = (uint8_t)(byte ^ (byte << 4));
    return (uint16_t)((((unsigned)byte << 8) | (crc >> 8)) ^ (byte >> 4) ^ ((unsigned)byte << 3));
}

static void emit(struct writer *w, uint8_t byte)
{
    if (w->length < w->room) {
        w->out[w->length++] = byte;
    } else {
        w->failed = 1;
    }
}

static void open_block(struct writer *w)
{
    w->code_at = w->length;
    w->code = 1;
    emit(w, 1);
}

static void close_block(struct writer *w)
{
    if (!w->failed) {
        w->out[w->code_at] = w->code;
    }
}

static void stuff(struct writer *w, uint8_t byte)
{
    if (w->code == 0xFF) {
        open_block(w);
    }
    if (byte == 0) {
        close_block(w);
        open_block(w);
        return;
    }
    emit(w, byte);
    w->code++;
    if (w->code == 0xFF) {
        close_block(w);
    }
}

static void begin(struct writer *w, uint8_t *out, size_t room)
{
    memset(w, 0, sizeof *w);
    w->out = out;
    w->room = room;
    w->crc = 0xFFFF;
    open_block(w);
}

static void put8(struct writer *w, uint8_t byte)
{
    w->crc = foreaft_crc_step(w->crc, byte);
    stuff(w, byte);
}

static void put16(struct writer *w, uint16_t value)
{
    put8(w, (uint8_t)(value & 0xFFu));
    put8(w, (uint8_t)(value >> 8));
}

static void put24(struct writer *w, uint32_t value)
{
    put16(w, (uint16_t)(value & 0xFFFFu));
    put8(w, (uint8_t)((value >> 16) & 0xFFu));
}

static void put32(struct writer *w, uint32_t value)
{
    put16(w, (uint16_t)(value & 0xFFFFu));
    put16(w, (uint16_t)(value >> 16));
}

static void put_text(struct writer *w, const char *text, size_t most)
{
    size_t length = strlen(text);
    size_t i;
    if (length > most) {
        w->failed = 1;
        return;
    }
    put8(w, (uint8_t)length);
    for (i = 0; i < length; i++) {
        put8(w, (uint8_t)text[i]);
    }
}

static size_t finish(struct writer *w)
{
    uint16_t crc = (uint16_t)(w->crc ^ 0xFFFFu);
    stuff(w, (uint8_t)(crc & 0xFFu));
    stuff(w, (uint8_t)(crc >> 8));
    if (w->code != 0xFF) {
        close_block(w);
    }
    emit(w, 0);
    return w->failed ? 0 : w->length;
}

static void scan_head(struct writer *w, uint8_t type, uint32_t ticks_us, uint16_t sequence, uint8_t status, uint8_t k)
{
    if (k == 0 || k > FOREAFT_MAX_CHANNELS) {
        w->failed = 1;
    }
    put8(w, type);
    put8(w, status);
    put16(w, sequence);
    put32(w, ticks_us);
}

size_t foreaft_scan32(uint8_t *out, size_t room, uint32_t ticks_us, uint16_t sequence, uint8_t status,
                      const int32_t *counts, uint8_t channel_count)
{
    struct writer w;
    uint8_t i;
    begin(&w, out, room);
    scan_head(&w, FOREAFT_SCAN32, ticks_us, sequence, status, channel_count);
    for (i = 0; i < channel_count; i++) {
        put32(&w, (uint32_t)counts[i]);
    }
    return finish(&w);
}

size_t foreaft_scan24(uint8_t *out, size_t room, uint32_t ticks_us, uint16_t sequence, uint8_t status,
                      const int32_t *counts, uint8_t channel_count)
{
    struct writer w;
    uint8_t i;
    begin(&w, out, room);
    scan_head(&w, FOREAFT_SCAN24, ticks_us, sequence, status, channel_count);
    for (i = 0; i < channel_count; i++) {
        if (counts[i] < -8388608 || counts[i] > 8388607) {
            w.failed = 1;
        }
        put24(&w, (uint32_t)counts[i]);
    }
    return finish(&w);
}

size_t foreaft_hello(uint8_t *out, size_t room, const struct foreaft_hello *hello)
{
    struct writer w;
    uint32_t float_bits;
    uint8_t i;
    begin(&w, out, room);
    if (hello->channel_count == 0 || hello->channel_count > FOREAFT_MAX_CHANNELS) {
        w.failed = 1;
    }
    put8(&w, FOREAFT_HELLO);
    put8(&w, FOREAFT_VERSION);
    put8(&w, hello->running ? 1 : 0);
    put8(&w, hello->channel_count);
    put32(&w, hello->ticks_us);
    put32(&w, hello->scan_rate_millihz);
    put32(&w, hello->boot);
    for (i = 0; i < 8; i++) {
        put8(&w, hello->board_id[i]);
    }
    put_text(&w, hello->firmware, 64);
    for (i = 0; i < hello->channel_count && !w.failed; i++) {
        const struct foreaft_channel *channel = &hello->channels[i];
        put8(&w, channel->kind);
        put8(&w, channel->bits);
        put16(&w, channel->gain);
        put32(&w, channel->rate_millihz);
        memcpy(&float_bits, &channel->units_per_count, sizeof float_bits); /* IEEE 754 binary32 */
        put32(&w, float_bits);
        put_text(&w, channel->name, 32);
    }
    return finish(&w);
}

size_t foreaft_reply(uint8_t *out, size_t room, uint8_t request, uint8_t op, uint8_t result, const char *text)
{
    struct writer w;
    begin(&w, out, room);
    put8(&w, FOREAFT_REPLY);
    put8(&w, request);
    put8(&w, op);
    put8(&w, result);
    while (*text) {
        put8(&w, (uint8_t)*text++);
    }
    return finish(&w);
}

/* Unstuffs in place: what is written never overtakes what is read. Gives the length, 0 when the stuffing is broken. */
static uint8_t unstuff(uint8_t *bytes, uint8_t length)
{
    uint8_t from = 0, to = 0;
    while (from < length) {
        uint8_t code = bytes[from++];
        uint8_t i;
        if (code - 1 > length - from) {
            return 0;
        }
        for (i = 1; i < code; i++) {
            bytes[to++] = bytes[from++];
        }
        if (from < length && code != 0xFF) {
            bytes[to++] = 0;
        }
    }
    return to;
}

uint8_t foreaft_receive(struct foreaft_receiver *receiver, uint8_t byte)
{
    uint16_t crc = 0xFFFF;
    uint8_t length, i, overlong;
    if (byte != 0) {
        if (receiver->length < FOREAFT_RECEIVE_ROOM) {
            receiver->bytes[receiver->length++] = byte;
        } else {
            receiver->overlong = 1;
        }
        return 0;
    }
    length = receiver->length;
    overlong = receiver->overlong;
    receiver->length = 0;
    receiver->overlong = 0;
    if (overlong || length == 0) {
        return 0;
    }
    length = unstuff(receiver->bytes, length);
    for (i = 0; i < length; i++) {
        crc = foreaft_crc_step(crc, receiver->bytes[i]);
    }
    return (length > 2 && crc == GOOD_CRC) ? (uint8_t)(length - 2) : 0;
}

uint32_t foreaft_read_u32(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

uint16_t foreaft_read_u16(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | bytes[1] << 8);
}
