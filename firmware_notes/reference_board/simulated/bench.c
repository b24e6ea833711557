/* See bench.h. */
#include "inside.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_elf.h>

#define BAUD 250000.0
#define SCRAMBLED 0x5Au
#define MCUSR 0x54u
#define LINES 0x29u /* PIND */
#define BROWN_OUT (1u << 2)
#define POWER_ON 1u

static struct bench *current; /* the one that runs now: some calls of the library carry no argument of ours */

uint64_t bench_cycle(struct bench *b) { return b->before + b->avr->cycle; }
struct figures *bench_counted(struct bench *b) { return &b->figures; }
double bench_hz(struct bench *b) { return b->hz; }
double bench_now_us(struct bench *b) { return (double)bench_cycle(b) / b->hz * 1e6; }
uint8_t bench_light(struct bench *b) { return b->light; }
uint8_t bench_peek(struct bench *b, uint16_t at) { return b->avr->data[at]; }
void bench_poke(struct bench *b, uint16_t at, uint8_t value) { b->avr->data[at] = value; }
void bench_line(struct bench *b, uint8_t i, uint8_t level) { avr_raise_irq(b->data[i], level); }

static void add(struct bench *b, struct event event)
{
    int i;
    if (b->events_n == b->events_room) {
        b->events_room = b->events_room ? 2 * b->events_room : 1024;
        b->events = realloc(b->events, (size_t)b->events_room * sizeof *b->events);
    }
    for (i = b->events_n++; i > 0 && b->events[i - 1].at <= event.at; i--) {
        b->events[i] = b->events[i - 1];
    }
    b->events[i] = event;
}

void bench_at(struct bench *b, double us, int what, int index, double value)
{
    struct event event = {(uint64_t)(us * 1e-6 * b->hz), what, index, value};
    add(b, event);
}

void bench_make(struct bench *b, int index, double period_error, int hides, uint32_t seed)
{
    struct converter *c = &b->converters[index];
    c->period_error = period_error;
    c->hides = (uint8_t)hides;
    c->seed = seed;
}

void bench_expect(struct bench *b, uint8_t index, uint32_t life, uint64_t cycles)
{
    struct event event = {bench_cycle(b) + cycles, CONVERTED, index, life};
    add(b, event);
}

void bench_hear(struct bench *b, double us, const uint8_t *bytes, int n)
{
    uint64_t from = (uint64_t)(us * 1e-6 * b->hz);
    b->hear_at = b->hear_at > from ? b->hear_at : from;
    while (n--) {
        struct event event = {0, BYTE, 0, *bytes++};
        b->hear_at += (uint64_t)(10.0 / BAUD * b->hz);
        event.at = b->hear_at;
        add(b, event);
    }
}

static void happen(struct bench *b, const struct event *e)
{
    struct converter *c = &b->converters[e->index];
    switch (e->what) {
    case MARK:
        b->mark_level = (uint8_t)e->value;
        avr_raise_irq(b->mark, b->mark_level);
        break;
    case BUTTON:
        b->button_level = (uint8_t)e->value;
        avr_raise_irq(b->button, b->button_level);
        break;
    case TILT_MV:
        b->tilt_mv = e->value;
        avr_raise_irq(b->tilt, (uint32_t)b->tilt_mv);
        break;
    case INPUT:
        converter_input(c, e->value);
        break;
    case BYTE:
        avr_raise_irq(b->uart + UART_IRQ_INPUT, (uint32_t)e->value);
        break;
    case UNPLUGGED:
        converter_unplug(c, (uint8_t)e->value);
        break;
    case SHORTED:
        converter_short(c, (uint8_t)e->value);
        break;
    case QUICK:
        c->quick = (uint8_t)e->value;
        break;
    case CONVERTED:
        converter_done(c, (uint32_t)e->value);
        break;
    }
}

static void clocked(struct avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq;
    converter_clock(param, (uint8_t)(level & 1));
}

static avr_cycle_count_t seen_and_done(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct converter *c = param;
    (void)avr, (void)when;
    converter_done(c, ++c->life); /* and not once more when it was expected */
    return 0;
}

/* Stands before the library's own reader of the port. What it changed at once, the library would undo. */
static uint8_t lines_read(avr_t *avr, avr_io_addr_t at, void *param)
{
    struct bench *b = param;
    uint8_t levels = b->read_lines(avr, at, b->read_lines_param);
    int i;
    for (i = 0; i < CONVERTERS_MOST; i++) {
        if (converter_seen(&b->converters[i])) {
            avr_cycle_timer_register(avr, 1, seen_and_done, &b->converters[i]);
        }
    }
    return levels;
}

static void rated(struct avr_irq_t *irq, uint32_t level, void *param)
{
    struct bench *b = param;
    int i;
    (void)irq;
    for (i = 0; i < CONVERTERS_MOST; i++) {
        converter_rate(&b->converters[i], (uint8_t)(level & 1));
    }
}

static void lit(struct avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq;
    ((struct bench *)param)->light = (uint8_t)(level & 1);
}

static void sent(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct bench *b = param;
    struct said said = {(uint8_t)value, bench_cycle(b) + (uint64_t)(10.0 / BAUD * b->hz)};
    (void)irq;
    if (b->said_n == b->said_room) {
        b->said_room = b->said_room ? 2 * b->said_room : 4096;
        b->said = realloc(b->said, (size_t)b->said_room * sizeof *b->said);
    }
    b->said[b->said_n++] = said;
}

int bench_said(struct bench *b, uint8_t *bytes, double *us, int room)
{
    int n = 0;
    while (n < room && b->said_from < b->said_n) {
        bytes[n] = b->said[b->said_from].byte;
        us[n++] = (double)b->said[b->said_from++].at / b->hz * 1e6;
    }
    if (b->said_from == b->said_n) {
        b->said_from = b->said_n = 0;
    }
    return n;
}

static void resetting(avr_t *avr)
{
    (void)avr;
    current->was_reset = 1;
}

static void sleeping(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    current->figures.idle += cycles + 1;
}

static void wire(struct bench *b)
{
    static const uint32_t NO_ECHO = AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP;
    uint32_t flags = 0;
    int i;
    for (i = 0; i < CONVERTERS_MOST; i++) {
        avr_irq_t *clock = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('C'), IOPORT_IRQ_PIN0 + i);
        b->data[i] = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_PIN4 + i);
        avr_irq_register_notify(clock, clocked, &b->converters[i]);
    }
    b->mark = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_PIN2);
    b->button = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_PIN3);
    b->tilt = avr_io_getirq(b->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC5);
    b->uart = avr_io_getirq(b->avr, AVR_IOCTL_UART_GETIRQ('0'), 0);
    b->read_lines = b->avr->io[AVR_DATA_TO_IO(LINES)].r.c;
    b->read_lines_param = b->avr->io[AVR_DATA_TO_IO(LINES)].r.param;
    b->avr->io[AVR_DATA_TO_IO(LINES)].r.c = lines_read;
    b->avr->io[AVR_DATA_TO_IO(LINES)].r.param = b;
    avr_irq_register_notify(avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('B'), IOPORT_IRQ_PIN0), rated, b);
    avr_irq_register_notify(avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('B'), IOPORT_IRQ_PIN5), lit, b);
    avr_irq_register_notify(b->uart + UART_IRQ_OUTPUT, sent, b);
    avr_ioctl(b->avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~NO_ECHO;
    avr_ioctl(b->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    figures_watch(b);
}

/* The library passes on only what changes. */
static void show(avr_irq_t *pin, uint8_t level)
{
    avr_raise_irq(pin, !level);
    avr_raise_irq(pin, level);
}

/* What stands at the pins, after a reset of the chip has forgotten it. */
static void show_all(struct bench *b)
{
    int i;
    for (i = 0; i < CONVERTERS_MOST; i++) {
        show(b->data[i], b->converters[i].line);
        converter_show(&b->converters[i]);
    }
    show(b->mark, b->mark_level);
    show(b->button, b->button_level);
    avr_raise_irq(b->tilt, (uint32_t)b->tilt_mv);
}

/* The library tells what it loads on standard output, where a program's answer may stand. */
static void only_errors(avr_t *avr, const int level, const char *format, va_list words)
{
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, words);
    }
}

struct bench *bench_new(const char *elf, uint32_t hz, uint32_t supply_mv)
{
    elf_firmware_t firmware;
    struct bench *b = calloc(1, sizeof *b);
    struct figures *f = &b->figures;
    int i;
    avr_global_logger_set(only_errors);
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(elf, &firmware) != 0 || !(b->avr = avr_make_mcu_by_name("atmega328p"))) {
        free(b);
        return NULL;
    }
    avr_init(b->avr);
    b->hz = hz;
    b->avr->frequency = hz;
    b->avr->vcc = b->avr->avcc = b->avr->aref = supply_mv;
    b->avr->log = LOG_ERROR;
    b->avr->sleep = sleeping;
    b->avr->reset = resetting; /* the chip's own does nothing */
    avr_extint_set_strict_lvl_trig(b->avr, 1, 0); /* the button's pin is read, not an interrupt */
    avr_load_firmware(b->avr, &firmware);
    b->avr->frequency = hz;
    memset(b->avr->data + RAM_BEGIN, PAINT, b->avr->ramend + 1u - RAM_BEGIN);
    b->avr->data[MCUSR] = POWER_ON;
    f->high_least = f->low_least = f->first_least = UINT64_MAX;
    b->mark_level = b->button_level = 1;
    b->tilt_mv = supply_mv / 2.0;
    wire(b);
    for (i = 0; i < CONVERTERS_MOST; i++) {
        converter_begin(&b->converters[i], b, (uint8_t)i);
    }
    show_all(b);
    return b;
}

void bench_free(struct bench *b)
{
    avr_terminate(b->avr);
    free(b->events);
    free(b->said);
    free(b);
}

void bench_brown_out(struct bench *b)
{
    uint64_t now = bench_cycle(b);
    current = b;
    avr_reset(b->avr);
    b->before = now - b->avr->cycle;
    b->was_reset = 0;
    memset(b->avr->data + RAM_BEGIN, SCRAMBLED, b->avr->ramend + 1u - RAM_BEGIN);
    b->avr->data[MCUSR] = BROWN_OUT;
    show_all(b);
}

/* Ends a sleep of the chip. It asks to be called again at once: else a sleep that begins in this very cycle would last
 * until another timer of the library. */
static avr_cycle_count_t due(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr, (void)param;
    return when + 1;
}

/* Run the chip until this cycle of the bench. */
static int run_chip(struct bench *b, uint64_t until)
{
    if (bench_cycle(b) >= until) {
        return 0;
    }
    avr_cycle_timer_register(b->avr, until - bench_cycle(b), due, b);
    while (bench_cycle(b) < until) {
        uint64_t now = bench_cycle(b);
        int state = avr_run(b->avr);
        if (b->was_reset) { /* by its watchdog */
            b->was_reset = 0;
            b->before = b->avr->cycle < now - b->before ? now : b->before;
            show_all(b);
            avr_cycle_timer_register(b->avr, until - bench_cycle(b), due, b);
        }
        if (state == cpu_Done || state == cpu_Crashed) {
            return state;
        }
    }
    return 0;
}

int bench_run(struct bench *b, double until_us)
{
    uint64_t until = (uint64_t)(until_us * 1e-6 * b->hz), started = bench_cycle(b);
    current = b;
    while (bench_cycle(b) < until) {
        struct event *next = b->events_n ? &b->events[b->events_n - 1] : NULL;
        uint64_t target = next && next->at < until ? next->at : until;
        int stopped = run_chip(b, target);
        if (stopped) {
            return stopped;
        }
        while (b->events_n && b->events[b->events_n - 1].at <= bench_cycle(b)) {
            struct event event = b->events[--b->events_n];
            happen(b, &event);
        }
    }
    b->figures.cycles += bench_cycle(b) - started;
    return 0;
}

void bench_flash(struct bench *b, uint32_t at, const uint8_t *code, uint8_t *before, int n)
{
    memcpy(before, b->avr->flash + at, (size_t)n);
    memcpy(b->avr->flash + at, code, (size_t)n);
}

void bench_eeprom(struct bench *b, uint16_t at, uint8_t *bytes, int n, int write)
{
    avr_eeprom_desc_t part = {bytes, at, (uint32_t)n};
    avr_ioctl(b->avr, write ? AVR_IOCTL_EEPROM_SET : AVR_IOCTL_EEPROM_GET, &part);
}
