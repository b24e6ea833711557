/* The conversation with the host: scans and hellos out, commands in. */
#ifndef HOST_H
#define HOST_H

#include "scans.h"

void host_begin(void);
/* Send it, numbered, unless the host has stopped the scans. status: tare button and crank mark are added here. */
void host_scan(struct scan *scan);
/* Obey what has been asked; a hello when one is due. */
void host_turn(void);

#endif
