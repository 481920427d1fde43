/* Cycles. The images say what every driven control line shows in each phase. */
#include "cycle.h"

void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels) {
    bd_control_drive(&c->bd, levels_held(c).mask | mask, levels);
}

uint32_t cycle_read(bw_core *c, const bw_shape *s, uint32_t address) {
    return cycle_read_here(c, s, address);
}

uint32_t cycle_read_charged(bw_core *c, const bw_shape *s, uint32_t address, uint32_t charge) {
    cycle_charge(c, s, charge);
    return cycle_read_here(c, s, address);
}

void bus_free(bw_core *c) {
    bd_data_free(&c->bd);
    bd_address_drive(&c->bd, false);
    c->bus_out = 0;
}

void cycle_ready(bw_core *c) {
    bus_release(c);
    if (!c->bus_out) {
        bd_address_drive(&c->bd, true);
        c->bus_out = 1;
    }
}

static void write_begin(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value) {
    if (c->was_read) bd_wait(&c->bd, s->waits[RELEASE]);
    c->was_read = 0;
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, word_ones(s) << s->first, value << s->first);
    if (s->drives_write) cycle_extra(c, s->drives_write, s->image[WRITE_SETUP]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[SETUP]);
}

void cycle_write(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value) {
    write_begin(c, s, address, value);
    bd_control(&c->bd, s->image[WRITE_STROBE]);
    bd_wait(&c->bd, s->waits[PULSE]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[HOLD]);
    bd_control(&c->bd, s->image[IDLE]);
    if (s->drives_write) cycle_extra(c, 0, s->image[IDLE]);
    bd_data_free(&c->bd);
    bd_wait(&c->bd, s->waits[RECOVER]);
}

/* To the strobe and no further, for HOLD; with the mark line active from the strobe on. */
void cycle_strobe(bw_core *c, const bw_shape *s, uint32_t address, bool write, uint32_t value,
                  bool mark) {
    if (write) {
        write_begin(c, s, address, value);
        if (mark) bd_mark(&c->bd, true);
        bd_control(&c->bd, s->image[WRITE_STROBE]);
    } else {
        bd_address(&c->bd, address);
        if (s->drives_read) cycle_extra(c, s->drives_read, s->image[READ_SETUP]);
        bd_control(&c->bd, s->image[READ_SETUP]);
        bd_wait(&c->bd, s->waits[SETUP]);
        if (mark) bd_mark(&c->bd, true);
        bd_control(&c->bd, s->image[READ_STROBE]);
    }
    bd_wait(&c->bd, s->waits[PULSE]);
}

/* Ends a cycle that was held: strobe back, then idle, then the data lines. */
void cycle_end_strobe(bw_core *c, const bw_shape *s, bool write) {
    bd_control(&c->bd, write ? s->image[WRITE_SETUP] : s->image[READ_SETUP]);
    bd_wait(&c->bd, s->waits[HOLD]);
    bd_control(&c->bd, s->image[IDLE]);
    if (s->drives_read | s->drives_write) cycle_extra(c, 0, s->image[IDLE]);
    bd_data_free(&c->bd);
    bd_wait(&c->bd, s->waits[RECOVER]);
    c->was_read = !write;
}

/* F_BEYOND, with the first address in cycle order that the lines do not reach. */
uint8_t span_check(bw_core *c, uint32_t address, int32_t step, uint32_t count) {
    /* Highest address that fits; the shift by 32 would mean nothing. */
    const uint32_t top = 0xFFFFFFFFu >> (32 - BD_ADDRESS_LINES);
    uint32_t room, size, steps;
    if (count == 0) return F_NONE;
    if (address > top) return fault_of(c, F_BEYOND, address);
    if (step == 0) return F_NONE;
    size = step > 0 ? (uint32_t)step : (uint32_t)-step;
    room = step > 0 ? top - address : address;
    steps = room / size; /* steps that stay within */
    if (count - 1 <= steps) return F_NONE;
    steps++;
    return fault_of(c, F_BEYOND, step > 0 ? address + steps * size : address - steps * size);
}
