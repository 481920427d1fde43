/* The times of a cycle. */
#ifndef BW_CYCLE_H
#define BW_CYCLE_H

#include "parts.h"

enum { SETUP, PULSE, HOLD, RECOVER, RELEASE };

/* Lines that no idle level names are outputs only while a phase of their shape lasts. */
void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels);

#endif
