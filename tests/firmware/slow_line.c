/* The portable core on a board whose line takes only what standard input says.
 *
 * Each line of input: how many bytes the line takes now, and what is done: s, a scan; t, a turn; c, the host's bytes in
 * hexadecimal, then a turn. What is sent goes to standard output. */
#include <stdio.h>
#include <string.h>

#include "board.h"
#include "hello.h"
#include "host.h"
#include "tare.h"

static size_t room;
static uint32_t now_us;
static uint8_t heard[32];
static size_t heard_n, heard_at;

void board_begin(struct board_start *start) { memset(start, 0, sizeof *start); start->cause = "test"; }
void board_wait(void) {}
uint32_t board_ticks_us(void) { return now_us; }
size_t board_line_free(void) { return room; }
void board_send(const uint8_t *bytes, size_t n) { fwrite(bytes, 1, n, stdout); room = n < room ? room - n : 0; }
int16_t board_receive(void) { return heard_at < heard_n ? heard[heard_at++] : -1; }
uint8_t board_ready(uint32_t ready_us[CONVERTERS]) { (void)ready_us; return 0; }
uint8_t board_read(uint8_t mask, const uint8_t pulses[CONVERTERS], int32_t counts[CONVERTERS])
{
    (void)mask; (void)pulses; (void)counts;
    return 0;
}
void board_restart(uint8_t mask) { (void)mask; }
void board_set_fast(uint8_t fast) { (void)fast; }
int16_t board_tilt(void) { return 0; }
uint8_t board_take_mark(void) { return 0; }
uint8_t board_button(void) { return 0; }
void board_light(uint8_t on) { (void)on; }

int main(void)
{
    char what;
    unsigned takes;
    hello_begin();
    while (scanf("%u %c", &takes, &what) == 2) {
        struct scan scan = {{0}, 0, 0};
        room = takes;
        if (what == 's') {
            host_scan(&scan);
            continue;
        }
        if (what == 'c') {
            unsigned byte;
            heard_n = heard_at = 0;
            while (heard_n < sizeof heard && scanf("%2x", &byte) == 1) {
                heard[heard_n++] = (uint8_t)byte;
                if (!byte && heard_n > 1) {
                    break; /* the end of the frame */
                }
            }
        }
        host_turn();
    }
    return 0;
}
