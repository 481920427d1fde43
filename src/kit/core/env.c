/* What a run makes its cycles on: the adapter's shapes, permits and lines. Address bits above the
 * board's lines reach nothing. */
#include "cycle.h"
#include "script.h"

typedef struct {
    uint8_t line, high;
} active_line;

uint8_t env_width(bw_core *c, uint8_t slot) {
    const bw_shape *s = shape_get(c, slot);
    return s ? s->width : 0;
}

/* No shape of this version has a strobe for each lane. What a space is, the host knows. */
BW_HERE uint8_t env_rule(bw_core *c, uint8_t slot) {
    return env_width(c, slot) ? RULE_REST : RULE_NONE;
}

BW_HERE bool env_writes(bw_core *c, uint8_t slot) {
    return shape_at(c, slot)->writes;
}

bool env_may_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes) {
    return permit_covers(c, slot, address & REACH, lanes);
}

void env_counts(bw_core *c, uint16_t cycles) {
    count_on(&c->work.done, cycles);
}

uint32_t env_read(bw_core *c, uint8_t slot, uint32_t address) {
    env_counts(c, 1);
    return cycle_read(c, shape_at(c, slot), address & REACH);
}

BW_HERE uint32_t env_read_charged(bw_core *c, uint8_t slot, uint32_t address, uint32_t charge) {
    env_counts(c, 1);
    return cycle_read_charged(c, shape_at(c, slot), address & REACH, charge);
}

BW_HERE void env_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t value, uint32_t lanes) {
    (void)lanes;
    env_counts(c, 1);
    cycle_write(c, shape_at(c, slot), address & REACH, value);
}

BW_HERE uint8_t env_line(bw_core *c, uint8_t line, bool active) {
    static const active_line of[2] BD_ROM = {BD_RESET_LINE, BD_PROTECT_LINE};
    bw_levels moved;
    if (line == 2) {
        if (!BD_HAS_MARK) return E_NO_LINE;
        bd_mark(&c->bd, active);
        return E_GOOD;
    }
    if (BD_ROM8(&of[line].line) >= BD_CONTROL_LINES) return E_NO_LINE;
    moved.mask = (bd_lines_t)(1u << BD_ROM8(&of[line].line));
    moved.level = (active == (BD_ROM8(&of[line].high) != 0)) ? moved.mask : 0;
    if (!lines_may_move(c, moved)) return E_NOT_PERMITTED;
    c->moved = levels_then(c->moved, moved);
    shape_images(c);
    moved = levels_held(c);
    bd_control_drive(&c->bd, moved.mask, moved.level);
    return E_GOOD;
}

BW_HERE bool env_ready(bw_core *c) {
    return bd_ready(&c->bd);
}

/* Looked at here, too: in an atomic stretch nobody else does. */
bool env_powered(bw_core *c) {
    uint8_t beat = bd_beat(&c->bd);
    if (beat != c->rail_beat) {
        c->rail_beat = beat;
        rail_poll(c);
    }
    return c->rail == RAIL_ON;
}

uint32_t env_now(bw_core *c) {
    return bd_now(&c->bd);
}

void env_pass(bw_core *c, uint32_t ticks) {
    uint32_t since = bd_now(&c->bd);
    while (bd_now(&c->bd) - since < ticks && env_powered(c)) bd_idle(&c->bd);
}

uint32_t env_payload(bw_core *c, uint16_t word) {
    const bw_run *r = BW_NEAR(&c->run);
    uint8_t width = r->pay_width;
    return ring_u32(c, line_index(r->pay_at, (uint16_t)(word * width))) & ones_of(width);
}
