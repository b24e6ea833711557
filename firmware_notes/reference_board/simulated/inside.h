/* Between bench.c and figures.c. */
#ifndef INSIDE_H
#define INSIDE_H

#include "bench.h"

#define RAM_BEGIN 0x100u
#define PAINT 0xC5u /* of RAM that was never written */

struct event {
    uint64_t at;
    int what, index;
    double value;
};

struct said {
    uint8_t byte;
    uint64_t at;
};

struct bench {
    avr_t *avr;
    double hz;
    uint64_t before; /* cycles the library has forgotten at resets */
    uint8_t was_reset;
    struct converter converters[CONVERTERS_MOST];
    avr_irq_t *data[CONVERTERS_MOST], *mark, *button, *tilt, *uart;
    avr_io_read_t read_lines; /* the library's, and what it wants */
    void *read_lines_param;
    uint8_t mark_level, button_level, light;
    double tilt_mv;
    struct event *events; /* earliest last */
    int events_n, events_room;
    struct said *said;
    int said_n, said_from, said_room;
    uint64_t hear_at;
    uint64_t raised[VECTORS], begun[VECTORS];
    struct figures figures;
};

/* Have the chip tell of every interrupt. */
void figures_watch(struct bench *bench);

#endif
