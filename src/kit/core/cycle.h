/* The times of a cycle. */
#ifndef BW_CYCLE_H
#define BW_CYCLE_H

#include "parts.h"

enum { SETUP, PULSE, HOLD, RECOVER, RELEASE };

/* Lines that no idle level names are outputs only while a phase of their shape lasts. */
void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels);

/* Address bits above the board's lines reach nothing. */
#define REACH (0xFFFFFFFFu >> (32 - BD_ADDRESS_LINES))

/* A word on its way to its data lines and back; whole bytes first, since a shift by a number that is not
 * known beforehand takes long on a small controller. */
BW_HOT uint32_t word_up(uint32_t word, uint8_t first) {
    for (; first >= 8; first -= 8) word <<= 8;
    while (first--) word <<= 1;
    return word;
}

BW_HOT uint32_t word_down(uint32_t lines, uint8_t first) {
    for (; first >= 8; first -= 8) lines >>= 8;
    while (first--) lines >>= 1;
    return lines;
}

/* A cycle, where a call would cost too much; `lines` and `levels` of the data lines. */
BW_HOT uint32_t cycle_reads(bw_core *c, const bw_shape *s, uint32_t address) {
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
    return bus;
}

BW_HOT void cycle_writes(bw_core *c, const bw_shape *s, uint32_t address, uint32_t lines,
                         uint32_t levels) {
    if (c->was_read) bd_wait(&c->bd, s->waits[RELEASE]);
    c->was_read = 0;
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, lines, levels);
    if (s->drives_write) cycle_extra(c, s->drives_write, s->image[WRITE_SETUP]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[SETUP]);
    bd_control(&c->bd, s->image[WRITE_STROBE]);
    bd_wait(&c->bd, s->waits[PULSE]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[HOLD]);
    bd_control(&c->bd, s->image[IDLE]);
    if (s->drives_write) cycle_extra(c, 0, s->image[IDLE]);
    bd_data_free(&c->bd);
    bd_wait(&c->bd, s->waits[RECOVER]);
}

#endif
