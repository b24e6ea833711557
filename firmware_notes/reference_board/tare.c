/* See tare.h. */
#include "tare.h"

#include "board.h"

#define PRESSED_US 30000UL /* a press shorter than this is bouncing */
#define ASKED_US 5000000UL

static uint8_t asked, pressed;
static uint32_t asked_us, up_us;

void tare_turn(void)
{
    uint32_t now_us = board_ticks_us();
    if (!board_button()) {
        pressed = 0;
        up_us = now_us;
    } else if (!pressed && now_us - up_us >= PRESSED_US) {
        pressed = asked = 1;
        asked_us = now_us;
    }
    if (asked && now_us - asked_us >= ASKED_US) {
        asked = 0;
    }
}

uint8_t tare_asked(void)
{
    return asked;
}

void tare_done(void)
{
    asked = 0;
}
