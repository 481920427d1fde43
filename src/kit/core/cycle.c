/* Cycles. The images say what every driven control line shows in each phase. */
#include "cycle.h"

void cycle_extra(bw_core *c, bd_lines_t mask, bd_lines_t levels) {
    bd_control_drive(&c->bd, levels_held(c).mask | mask, levels);
}

/* Whole bytes first, as word_up. */
static BW_HERE uint32_t word_down(const bw_shape *s, uint32_t lines) {
    uint8_t first = s->first;
    for (; first >= 8; first -= 8) lines >>= 8;
    while (first--) lines >>= 1;
    return lines;
}

/* Lines that no idle level names are let go as they are: on the way to idle none may show a level that
 * means something. */
static BW_HERE void idle(bw_core *c, const bw_shape *s, bd_lines_t drives) {
    if (drives) {
        cycle_extra(c, 0, s->image[IDLE]);
    } else {
        bd_control(&c->bd, s->image[IDLE]);
    }
}

uint32_t cycle_read(bw_core *c, const bw_shape *s, uint32_t address) {
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
    idle(c, s, s->drives_read);
    bd_wait(&c->bd, s->waits[RECOVER]);
    c->was_read = 1;
    if (s->width == 4) return bus;
    bus = word_down(s, bus);
    return s->width == 2 ? (uint16_t)bus : (uint8_t)bus;
}

/* Charges the lines of the shape, in the order of docs/wire.md, "Precharge". */
uint32_t cycle_read_charged(bw_core *c, const bw_shape *s, uint32_t address, uint32_t charge) {
    bd_wait(&c->bd, c->release);
    if (s->width == 4) {
        bd_data_drive(&c->bd, 0xFFFFFFFFu, charge);
    } else {
        bd_data_drive(&c->bd, word_lines(s), word_up(s, charge));
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
    cycle_wait_released(c);
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, word_lines(s), word_up(s, value));
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
    idle(c, s, s->drives_read | s->drives_write);
    bd_data_free(&c->bd);
    bd_wait(&c->bd, s->waits[RECOVER]);
    c->was_read = !write;
}

void cycle_latch(bw_core *c, const bw_shape *s) {
    bd_lines_t drives = s->drives_write;
    if (drives) cycle_extra(c, drives, s->image[WRITE_SETUP]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[SETUP]);
    bd_control(&c->bd, s->image[WRITE_STROBE]);
    bd_wait(&c->bd, s->waits[PULSE]);
    bd_control(&c->bd, s->image[WRITE_SETUP]);
    bd_wait(&c->bd, s->waits[HOLD]);
    idle(c, s, drives);
    bd_data_free(&c->bd);
    bd_wait(&c->bd, s->waits[RECOVER]);
}

void cycle_write(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value) {
    cycle_wait_released(c);
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, word_lines(s), word_up(s, value));
    cycle_latch(c, s);
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
