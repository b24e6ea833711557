/* What the board says of itself. */
#ifndef HELLO_H
#define HELLO_H

#include "foreaft_wire.h"
#include "scans.h"

#define FIRMWARE_TEXT 64u
#define HELLO_ROOM FOREAFT_ROOM(24u + 1u + FIRMWARE_TEXT + 24u * (unsigned)CHANNELS) /* names: 11 letters at most */

extern struct foreaft_hello me;
extern struct foreaft_channel channels[CHANNELS];

/* Starts the board. */
void hello_begin(void);
/* Bring time and self-test up to date; the frame's bytes. */
size_t hello_frame(uint8_t out[HELLO_ROOM]);

#endif
