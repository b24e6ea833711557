/* The reference board in one loop. Portable, as all in this folder; what is the chip's own stands behind board.h. */
#include "board.h"
#include "hello.h"
#include "host.h"
#include "scans.h"
#include "tare.h"

/* Steady when every converter answers, else blinking twice a second. */
static void show_light(void)
{
    board_light(scans_silent() == 0 || (board_ticks_us() & 0x40000UL));
}

int main(void)
{
    struct scan scan;
    hello_begin();
    scans_begin();
    host_begin();
    for (;;) {
        board_wait();
        if (scans_turn(&scan)) {
            host_scan(&scan);
        }
        host_turn();
        tare_turn();
        show_light();
    }
}
