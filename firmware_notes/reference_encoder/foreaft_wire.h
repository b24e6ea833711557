/* Wire protocol v1 of a jig's board: builds the frames a board sends, reads the frames a host sends.
 *
 * Portable C99: no board headers, no heap, no floating point arithmetic, any byte order. See ../wire_protocol.md.
 * Every builder gives the number of bytes written to out, or 0 when they do not fit room or an argument is impossible.
 */
#ifndef FOREAFT_WIRE_H
#define FOREAFT_WIRE_H

#include <stddef.h>
#include <stdint.h>

#define FOREAFT_VERSION 1u
#define FOREAFT_MAX_CHANNELS 32u
#define FOREAFT_MAX_BODY 2048u

/* Bytes on the wire of a frame with a body of n bytes, at most: stuffing, check and end. */
#define FOREAFT_ROOM(n) ((n) + 2u + ((n) + 2u) / 254u + 1u + 1u)
#define FOREAFT_SCAN32_ROOM(k) FOREAFT_ROOM(8u + 4u * (k))
#define FOREAFT_SCAN24_ROOM(k) FOREAFT_ROOM(8u + 3u * (k))
#define FOREAFT_HELLO_ROOM(k) FOREAFT_ROOM(24u + 65u + 45u * (k))
#define FOREAFT_REPLY_ROOM(n) FOREAFT_ROOM(4u + (n)) /* with n bytes of text */

enum { FOREAFT_HELLO = 0x01, FOREAFT_SCAN32 = 0x02, FOREAFT_SCAN24 = 0x03, FOREAFT_REPLY = 0x04, FOREAFT_COMMAND = 0x10 };
enum { FOREAFT_SATURATED = 1, FOREAFT_ADC_ERROR = 2, FOREAFT_TARE_BUTTON = 4, FOREAFT_CRANK_MARK = 8 };
enum { FOREAFT_OTHER = 0, FOREAFT_BRIDGE = 1, FOREAFT_TILT = 2, FOREAFT_TEMPERATURE = 3, FOREAFT_POSITION = 4 };
enum {
    FOREAFT_OP_HELLO = 1, FOREAFT_OP_START = 2, FOREAFT_OP_STOP = 3,
    FOREAFT_OP_SET_RATE = 4, FOREAFT_OP_SET_GAIN = 5, FOREAFT_OP_TARE_DONE = 6
};
enum {
    FOREAFT_DONE = 0, FOREAFT_UNKNOWN = 1, FOREAFT_BAD_OPERAND = 2, FOREAFT_NOT_NOW = 3, FOREAFT_FAILED = 4
};

struct foreaft_channel {
    const char *name;        /* lower case letters, digits and _, at most 32 */
    uint8_t kind;            /* FOREAFT_BRIDGE ... */
    uint8_t bits;            /* counts run from -2^(bits-1) to 2^(bits-1) - 1 */
    uint16_t gain;
    uint32_t rate_millihz;   /* new conversions in 1000 s */
    float units_per_count;   /* mV/V, degrees, degrees Celsius or mm by kind; 0: not known */
};

struct foreaft_hello {
    uint8_t board_id[8];     /* fixed for the life of the board */
    uint32_t boot;           /* another one after each start */
    uint32_t ticks_us;
    uint32_t scan_rate_millihz;
    uint8_t running;         /* not 0: scans are being sent */
    const char *firmware;    /* UTF-8, at most 64 bytes */
    const struct foreaft_channel *channels;
    uint8_t channel_count;
};

size_t foreaft_scan32(uint8_t *out, size_t room, uint32_t ticks_us, uint16_t sequence, uint8_t status,
                      const int32_t *counts, uint8_t channel_count);
size_t foreaft_scan24(uint8_t *out, size_t room, uint32_t ticks_us, uint16_t sequence, uint8_t status,
                      const int32_t *counts, uint8_t channel_count);
size_t foreaft_hello(uint8_t *out, size_t room, const struct foreaft_hello *hello);
size_t foreaft_reply(uint8_t *out, size_t room, uint8_t request, uint8_t op, uint8_t result, const char *text);

/* Receiving: feed every byte that comes in. A host's frames are short; 32 bytes are enough for all of version 1. */
#define FOREAFT_RECEIVE_ROOM 32u

struct foreaft_receiver {
    uint8_t bytes[FOREAFT_RECEIVE_ROOM];
    uint8_t length;
    uint8_t overlong;
};

/* Length of the body that this byte completed, now in receiver->bytes; 0 when none did or it was damaged.
 * bytes[0] is the type, [1] the request, [2] the op, then its operands. Use it before feeding the next byte.
 * Begin with all members 0. */
uint8_t foreaft_receive(struct foreaft_receiver *receiver, uint8_t byte);

uint32_t foreaft_read_u32(const uint8_t *bytes);
uint16_t foreaft_read_u16(const uint8_t *bytes);

/* CRC-16/IBM-SDLC: begin with 0xFFFF, complement the end. Check value over "123456789": 0x906E. */
uint16_t foreaft_crc_step(uint16_t crc, uint8_t byte);

#endif
