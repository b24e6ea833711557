/* Drives the reference encoder for test_reference_encoder.py: a line of numbers in, a frame or body in hexadecimal out. */
#include <stdio.h>
#include <string.h>

#include "foreaft_wire.h"

static uint8_t out[FOREAFT_ROOM(FOREAFT_MAX_BODY)];

static unsigned long number(void)
{
    unsigned long value = 0;
    if (scanf("%lu", &value) != 1) {
        fprintf(stderr, "driver: expected a number\n");
    }
    return value;
}

static void print(const uint8_t *bytes, size_t n)
{
    size_t i;
    for (i = 0; i < n; i++) {
        printf("%02x", bytes[i]);
    }
    printf("\n");
}

static void scan(int bits, size_t room)
{
    int32_t counts[64];
    uint32_t ticks_us = (uint32_t)number();
    uint16_t sequence = (uint16_t)number();
    uint8_t status = (uint8_t)number(), k = (uint8_t)number(), i;
    for (i = 0; i < k; i++) {
        long count = 0;
        if (scanf("%ld", &count) != 1) {
            fprintf(stderr, "driver: expected a count\n");
        }
        counts[i] = (int32_t)count;
    }
    print(out, bits == 24 ? foreaft_scan24(out, room, ticks_us, sequence, status, counts, k)
                          : foreaft_scan32(out, room, ticks_us, sequence, status, counts, k));
}

static void text(char *into)
{
    if (scanf("%255s", into) != 1) {
        fprintf(stderr, "driver: expected a text\n");
    }
    if (strcmp(into, "-") == 0) {
        into[0] = 0;
    }
}

static void hello(void)
{
    static char names[32][256];
    static char firmware[256];
    struct foreaft_channel channels[32];
    struct foreaft_hello h;
    uint8_t i;
    for (i = 0; i < 8; i++) {
        h.board_id[i] = (uint8_t)number();
    }
    h.boot = (uint32_t)number();
    h.ticks_us = (uint32_t)number();
    h.scan_rate_millihz = (uint32_t)number();
    h.running = (uint8_t)number();
    text(firmware);
    h.firmware = firmware;
    h.channel_count = (uint8_t)number();
    for (i = 0; i < h.channel_count; i++) {
        uint32_t float_bits;
        channels[i].kind = (uint8_t)number();
        channels[i].bits = (uint8_t)number();
        channels[i].gain = (uint16_t)number();
        channels[i].rate_millihz = (uint32_t)number();
        float_bits = (uint32_t)number();
        memcpy(&channels[i].units_per_count, &float_bits, sizeof float_bits);
        text(names[i]);
        channels[i].name = names[i];
    }
    h.channels = channels;
    print(out, foreaft_hello(out, sizeof out, &h));
}

static void reply(void)
{
    char words[256];
    uint8_t request = (uint8_t)number(), op = (uint8_t)number(), result = (uint8_t)number();
    text(words);
    print(out, foreaft_reply(out, sizeof out, request, op, result, words));
}

static void receive(void)
{
    static struct foreaft_receiver receiver;
    unsigned long n = number(), i;
    printf("received");
    for (i = 0; i < n; i++) {
        uint8_t length = foreaft_receive(&receiver, (uint8_t)number()), at;
        if (length) {
            printf(" ");
            for (at = 0; at < length; at++) {
                printf("%02x", receiver.bytes[at]);
            }
        }
    }
    printf("\n");
}

int main(void)
{
    char what[16];
    while (scanf("%15s", what) == 1) {
        if (strcmp(what, "scan32") == 0) {
            scan(32, sizeof out);
        } else if (strcmp(what, "scan24") == 0) {
            scan(24, sizeof out);
        } else if (strcmp(what, "cramped") == 0) {
            scan(32, (size_t)number());
        } else if (strcmp(what, "hello") == 0) {
            hello();
        } else if (strcmp(what, "reply") == 0) {
            reply();
        } else if (strcmp(what, "receive") == 0) {
            receive();
        } else {
            fprintf(stderr, "driver: no such thing: %s\n", what);
            return 1;
        }
    }
    return 0;
}
