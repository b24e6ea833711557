/* What the outline of the notes leaves to the board: here port and converters are standard output and made up.
 *
 * Begins, converts three times, takes the bytes on standard input as a host's, converts twice more.
 */
#include <stdio.h>

#include "foreaft_wire.h"

void begin(uint32_t boot);
void conversion_done(const int32_t *counts, uint32_t ready_us, uint8_t status);
void byte_from_host(uint8_t byte);
uint32_t ticks_us(void);
size_t uart_free(void);
void uart_write(const uint8_t *bytes, size_t n);
uint32_t nearest_rate(uint32_t millihz);
int set_gain(uint8_t channel, uint16_t gain);

static uint32_t now_us;

uint32_t ticks_us(void)
{
    return now_us;
}

size_t uart_free(void)
{
    return 1000;
}

void uart_write(const uint8_t *bytes, size_t n)
{
    fwrite(bytes, 1, n, stdout);
}

uint32_t nearest_rate(uint32_t millihz)
{
    return millihz < 45000 ? 10000 : 80000;
}

int set_gain(uint8_t channel, uint16_t gain)
{
    return channel < 2 && (gain == 64 || gain == 128);
}

static void convert(int times)
{
    int32_t counts[2] = {1000, -2000};
    for (; times > 0; times--) {
        now_us += 12500;
        conversion_done(counts, now_us, 0);
    }
}

int main(void)
{
    int byte;
    begin(7);
    convert(3);
    while ((byte = getchar()) != EOF) {
        byte_from_host((uint8_t)byte);
    }
    convert(2);
    return 0;
}
