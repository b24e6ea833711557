/* What is measured of the chip: how long interrupts wait and last, and how much RAM was never touched. */
#include <stdlib.h>

#include "inside.h"

struct vector {
    struct bench *bench;
    int number;
};

static void pending(struct avr_irq_t *irq, uint32_t level, void *param)
{
    struct vector *v = param;
    (void)irq;
    if (level) {
        v->bench->raised[v->number] = bench_cycle(v->bench);
    }
}

static void running(struct avr_irq_t *irq, uint32_t level, void *param)
{
    struct vector *v = param;
    struct figures *f = &v->bench->figures;
    uint64_t now = bench_cycle(v->bench);
    (void)irq;
    if (level) {
        uint64_t waited = now - v->bench->raised[v->number];
        f->latency[v->number] = waited > f->latency[v->number] ? waited : f->latency[v->number];
        f->served[v->number]++;
        v->bench->begun[v->number] = now;
    } else {
        uint64_t lasted = now - v->bench->begun[v->number];
        f->duration[v->number] = lasted > f->duration[v->number] ? lasted : f->duration[v->number];
    }
}

void figures_watch(struct bench *b)
{
    int i;
    for (i = 1; i < VECTORS; i++) {
        avr_irq_t *irq = avr_get_interrupt_irq(b->avr, (uint8_t)i);
        if (irq) {
            struct vector *v = malloc(sizeof *v);
            v->bench = b;
            v->number = i;
            avr_irq_register_notify(irq + AVR_INT_IRQ_PENDING, pending, v);
            avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, running, v);
        }
    }
}

void bench_figures(struct bench *b, struct figures *figures)
{
    uint64_t run = 0, longest = 0;
    uint32_t at;
    for (at = RAM_BEGIN; at <= b->avr->ramend; at++) {
        run = b->avr->data[at] == PAINT ? run + 1 : 0;
        longest = run > longest ? run : longest;
    }
    b->figures.stack_untouched = longest;
    *figures = b->figures;
}
