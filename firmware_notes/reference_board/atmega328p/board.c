/* Start, clock, sleep, watchdog, and what is kept in the EEPROM. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <string.h>

#include "inside.h"

#if F_CPU != 16000000UL && F_CPU != 8000000UL
#error "16 MHz at 5 V or 8 MHz at 3.3 V"
#endif

#define TICKS_A_US (F_CPU / 8000000UL) /* of timer 1, which counts every eighth cycle */
#define TURN_US (65536UL / TICKS_A_US)
#define ID_AT ((uint8_t *)16) /* not at 0, which a supply that fails in mid-write may hit */
#define BOOT_AT ((uint32_t *)24)

volatile uint8_t something_happened;
static volatile uint32_t turned_us; /* when timer 1 began anew last */
static uint8_t reset_flags __attribute__((section(".noinit")));

/* Before anything else: a watchdog that fired stays on, with its shortest time. */
void look_at_reset(void) __attribute__((naked, used, section(".init3")));
void look_at_reset(void)
{
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

ISR(TIMER1_OVF_vect)
{
    turned_us += TURN_US;
}

uint32_t ticks_us(void)
{
    uint16_t ticks = TCNT1;
    uint32_t now_us = turned_us;
    if ((TIFR1 & (1 << TOV1)) && ticks < 0x8000u) { /* it has begun anew, and its interrupt waits */
        now_us += TURN_US;
    }
    return now_us + ticks / TICKS_A_US;
}

uint32_t board_ticks_us(void)
{
    uint32_t now_us;
    cli();
    now_us = ticks_us();
    sei();
    return now_us;
}

static const char *cause(void)
{
    if (reset_flags & (1 << WDRF)) {
        return "watchdog";
    }
    if (reset_flags & (1 << PORF)) {
        return "power-on";
    }
    if (reset_flags & (1 << BORF)) {
        return "brown-out";
    }
    return reset_flags & (1 << EXTRF) ? "reset" : "bootloader";
}

/* A board that has never run has no id yet, all bits set: it draws one, once. */
static void read_id(uint8_t id[8])
{
    uint8_t i, blank = 0xFF;
    eeprom_read_block(id, ID_AT, 8);
    for (i = 0; i < 8; i++) {
        blank &= id[i];
    }
    if (blank == 0xFF) {
        for (i = 0; i < 8; i += 4) {
            uint32_t drawn = noise();
            memcpy(id + i, &drawn, 4);
        }
        eeprom_update_block(id, ID_AT, 8);
    }
}

void board_begin(struct board_start *start)
{
    start->supply_decivolt = supply_decivolt();
    read_id(start->id);
    start->boot = eeprom_read_dword(BOOT_AT) + 1;
    eeprom_update_dword(BOOT_AT, start->boot);
    start->cause = cause();
    TCCR1B = 1 << CS11; /* an eighth of the clock */
    TIMSK1 = 1 << TOIE1;
    line_begin();
    converters_begin();
    inputs_begin();
    set_sleep_mode(SLEEP_MODE_IDLE);
    wdt_enable(WDTO_250MS);
    sei();
}

void board_wait(void)
{
    wdt_reset();
    cli();
    while (!something_happened) {
        sleep_enable();
        sei(); /* the instruction after it is run before any interrupt */
        sleep_cpu();
        sleep_disable();
        cli();
    }
    something_happened = 0;
    sei();
}
