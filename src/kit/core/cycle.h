/* The read cycle, for loops in which the call would cost more than the cycle. */
#ifndef BW_CYCLE_H
#define BW_CYCLE_H

#include "parts.h"

enum { SETUP, PULSE, HOLD, RECOVER, RELEASE };

/* Lines that no idle level names are outputs only while a phase of their shape lasts. */
void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels);

BW_HOT uint32_t cycle_read_here(bw_core *c, const bw_shape *s, uint32_t address) {
    uint32_t bus;
    bd_address(&c->bd, address);
    if (s->drives_read) cycle_extra(c, s->drives_read, s->image[READ_SETUP]);
    bd_control(&c->bd, s->image[READ_SETUP]);
    bd_wait(&c->bd, s->waits[SETUP]);
    bd_control(&c->bd, s->image[READ_STROBE]);
    bd_wait(&c->bd, s->waits[PULSE]);
    bus = bd_data_in(&c->bd);
    bd_control(&c->bd, s->image[READ_SETUP]);
    bd_wait(&c->bd, s->waits[HOLD]);
    bd_control(&c->bd, s->image[IDLE]);
    if (s->drives_read) cycle_extra(c, 0, s->image[IDLE]);
    bd_wait(&c->bd, s->waits[RECOVER]);
    c->was_read = 1;
    if (s->width == 4) return bus;
    if (s->first) bus >>= s->first;
    return s->width == 2 ? (uint16_t)bus : (uint8_t)bus;
}

/* Charges the lines of the shape, in the order of docs/wire.md, "Precharge". */
BW_HOT void cycle_charge(bw_core *c, const bw_shape *s, uint32_t charge) {
    bd_wait(&c->bd, s->waits[RELEASE]);
    if (s->width == 4) {
        bd_data_drive(&c->bd, 0xFFFFFFFFu, charge);
    } else {
        bd_data_drive(&c->bd, word_ones(s) << s->first, charge << s->first);
    }
    bd_wait(&c->bd, s->waits[SETUP]);
    bd_data_free(&c->bd);
}

#endif
