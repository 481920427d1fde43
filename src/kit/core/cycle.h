/* The times of a cycle. */
#ifndef BW_CYCLE_H
#define BW_CYCLE_H

#include "parts.h"

enum { SETUP, PULSE, HOLD, RECOVER, RELEASE };

/* Lines that no idle level names are outputs only while a phase of their shape lasts. */
void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels);

/* Address bits above the board's lines reach nothing. */
#define REACH (0xFFFFFFFFu >> (32 - BD_ADDRESS_LINES))

/* The rest of a write whose address and data stand on the lines. */
void cycle_latch(bw_core *c, const bw_shape *s);
/* Before the lines are driven: the module may still be letting them go. */
BW_HOT void cycle_wait_released(bw_core *c) {
    if (c->was_read) bd_wait(&c->bd, c->release);
    c->was_read = 0;
}

#endif
