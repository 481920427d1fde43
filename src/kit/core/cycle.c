/* Cycles. The images say what every driven control line shows in each phase. */
#include "cycle.h"

void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels) {
    bd_control_drive(&c->bd, levels_held(c).mask | mask, levels);
}

uint32_t cycle_read(bw_core *c, const bw_shape *s, uint32_t address) {
    uint32_t bus = cycle_reads(c, s, address);
    if (s->width == 4) return bus;
    if (s->first) bus = word_down(bus, s->first);
    return s->width == 2 ? (uint16_t)bus : (uint8_t)bus;
}

/* Charges the lines of the shape, in the order of docs/wire.md, "Precharge". */
uint32_t cycle_read_charged(bw_core *c, const bw_shape *s, uint32_t address, uint32_t charge) {
    bd_wait(&c->bd, s->waits[RELEASE]);
    if (s->width == 4) {
        bd_data_drive(&c->bd, 0xFFFFFFFFu, charge);
    } else {
        bd_data_drive(&c->bd, word_up(word_ones(s), s->first), word_up(charge, s->first));
    }
    bd_wait(&c->bd, s->waits[SETUP]);
    bd_data_free(&c->bd);
    return cycle_read(c, s, address);
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

static BW_HERE void write_begin(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value) {
    if (c->was_read) bd_wait(&c->bd, s->waits[RELEASE]);
    c->was_read = 0;
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, word_up(word_ones(s), s->first), word_up(value, s->first));
    if (s->drives_write) cycle_extra(c, s->drives_write, s->image[WRITE_SETUP]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[SETUP]);
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

BW_HERE void cycle_write(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value) {
    cycle_strobe(c, s, address, true, value, false);
    cycle_end_strobe(c, s, true);
}

uint8_t reach_check(bw_core *c, uint32_t address) {
    return address > REACH ? fault_of(c, F_BEYOND, address) : F_NONE;
}

/* F_BEYOND, with the first address in cycle order that the lines do not reach. */
uint8_t span_check(bw_core *c, uint32_t address, int16_t step, uint32_t count) {
    uint32_t size = (uint32_t)(int32_t)step, room = REACH - address, steps;
    if (count == 0) return F_NONE;
    if (step == 0 || address > REACH) return reach_check(c, address);
    if (step < 0) {
        size = -size;
        room = address;
    }
    /* A product takes less than a division. */
    if (count <= 0xFFFF && (uint32_t)(uint16_t)(count - 1) * (uint16_t)size <= room) return F_NONE;
    steps = room / size; /* that stay within */
    if (count - 1 <= steps) return F_NONE;
    return fault_of(c, F_BEYOND, address + (steps + 1) * (uint32_t)(int32_t)step);
}
