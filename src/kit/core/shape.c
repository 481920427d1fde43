/* Shapes: what is refused, and the images that cycles are made of. The rules are those of
 * docs/wire.md, "Which shapes are refused". */
#include "parts.h"

bw_levels levels_then(bw_levels under, bw_levels over) {
    bw_levels both;
    both.mask = under.mask | over.mask;
    both.level = (uint16_t)((under.level & ~over.mask) | over.level);
    return both;
}

/* True if `shown` has every line that `strobe` changes from idle as `strobe` has it. A line that
 * idle does not name is changed by being named. */
bool levels_strobe(bw_levels idle, bw_levels strobe, bw_levels shown) {
    uint16_t changed = (uint16_t)((strobe.level ^ idle.level) | (strobe.mask & ~idle.mask));
    return (shown.mask & changed) == changed && ((shown.level ^ strobe.level) & changed) == 0;
}

bw_shape *shape_get(bw_core *c, uint8_t slot) {
    return slot < BD_SHAPES && c->shape[slot].used ? &c->shape[slot] : 0;
}

uint8_t shape_count(const bw_core *c) {
    uint8_t count = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++) count += c->shape[n].used;
    return count;
}

uint32_t word_ones(const bw_shape *s) {
    return s->width == 1 ? 0xFF : s->width == 2 ? 0xFFFF : 0xFFFFFFFF;
}

void shape_hold(bw_core *c) {
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (c->shape[n].used) c->held = levels_then(c->held, c->shape[n].idle);
    shape_images(c);
}

void shape_images(bw_core *c) {
    bw_levels moved;
    moved.mask = c->line_moved;
    moved.level = c->line_level;
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        bw_shape *s = &c->shape[n];
        bw_levels at = levels_then(c->held, moved), on;
        uint16_t held = at.mask;
        if (!s->used) continue;
        s->image_idle = at.level;
        on = levels_then(at, s->read_setup);
        s->image_read_setup = on.level;
        on = levels_then(on, s->read_strobe);
        s->image_read = on.level;
        s->drives_read = on.mask & (uint16_t)~held;
        on = levels_then(at, s->write_setup);
        s->image_write_setup = on.level;
        on = levels_then(on, s->write_strobe);
        s->image_write = on.level;
        s->drives_write = on.mask & (uint16_t)~held;
    }
}

static uint8_t refused(bw_core *c, uint8_t reason, uint16_t about) {
    return fault_of(c, F_SHAPE_REFUSED, reason | (uint32_t)about << 8);
}

static uint8_t lowest(uint16_t mask) {
    uint8_t n = 0;
    while (!(mask >> n & 1)) n++;
    return n;
}

/* The read phase of `reader` that is a write of `writer`: 0 to 2; 3 if none is. */
static uint8_t reads_as_write(bw_levels idle, const bw_shape *reader, const bw_shape *writer) {
    bw_levels strobe, shown = idle;
    if (!writer->writes) return 3;
    strobe = levels_then(levels_then(idle, writer->write_setup), writer->write_strobe);
    if (levels_strobe(idle, strobe, shown)) return 0;
    shown = levels_then(shown, reader->read_setup);
    if (levels_strobe(idle, strobe, shown)) return 1;
    shown = levels_then(shown, reader->read_strobe);
    return levels_strobe(idle, strobe, shown) ? 2 : 3;
}

static uint8_t check_alone(bw_core *c, const bw_shape *s) {
    const bw_levels *part[5];
    bw_levels setup, strobe;
    uint16_t moved, last = (uint16_t)(s->first + s->width * 8 - 1);
    uint8_t phase;
    part[0] = &s->idle;
    part[1] = &s->read_setup;
    part[2] = &s->read_strobe;
    part[3] = &s->write_setup;
    part[4] = &s->write_strobe;
    for (uint8_t n = 0; n < (s->writes ? 5 : 3); n++) {
        uint16_t missing = part[n]->mask & (uint16_t)~BW_CONTROL_MASK;
        if (part[n]->level & ~part[n]->mask) return refused(c, 5, 0);
        if (missing) return refused(c, 3, lowest(missing));
    }
    if (last >= BD_DATA_LINES) return refused(c, 4, last & 0xFF);
    setup = levels_then(s->idle, s->read_setup);
    strobe = levels_then(setup, s->read_strobe);
    moved = (uint16_t)((setup.level ^ s->idle.level) | (strobe.level ^ s->idle.level) |
                       (strobe.mask & ~s->idle.mask));
    moved &= hello_strobes();
    if (moved) return refused(c, 2, lowest(moved));
    phase = reads_as_write(s->idle, s, s);
    return phase < 3 ? refused(c, 1, phase) : F_NONE;
}

static uint8_t check_beside(bw_core *c, const bw_shape *s, uint8_t slot) {
    bw_levels all;
    uint8_t n, m;
    for (n = 0; n < BD_SHAPES; n++) {
        const bw_shape *o = &c->shape[n];
        if (n == slot || !o->used) continue;
        if ((o->idle.level ^ s->idle.level) & o->idle.mask & s->idle.mask) return refused(c, 6, n);
    }
    if ((c->held.level ^ s->idle.level) & c->held.mask & s->idle.mask) return refused(c, 6, slot);
    all = levels_then(c->held, s->idle);
    for (n = 0; n < BD_SHAPES; n++)
        if (n != slot && c->shape[n].used) all = levels_then(all, c->shape[n].idle);
    for (n = 0; n < BD_SHAPES; n++) {
        const bw_shape *reader = n == slot ? s : &c->shape[n];
        if (n != slot && !reader->used) continue;
        for (m = 0; m < BD_SHAPES; m++) {
            const bw_shape *writer = m == slot ? s : &c->shape[m];
            if (m != slot && !writer->used) continue;
            if (reads_as_write(all, reader, writer) < 3) return refused(c, 7, n == slot ? m : n);
        }
    }
    return F_NONE;
}

static bw_levels take_levels(bw_core *c) {
    bw_levels levels;
    levels.mask = take16(c);
    levels.level = take16(c);
    return levels;
}

static bool same_levels(bw_levels a, bw_levels b) {
    return a.mask == b.mask && a.level == b.level;
}

static bool same(const bw_shape *a, const bw_shape *b) {
    for (uint8_t n = 0; n < 5; n++)
        if (a->times[n] != b->times[n]) return false;
    return a->used && a->width == b->width && a->first == b->first && a->writes == b->writes &&
           same_levels(a->idle, b->idle) && same_levels(a->read_setup, b->read_setup) &&
           same_levels(a->read_strobe, b->read_strobe) &&
           same_levels(a->write_setup, b->write_setup) &&
           same_levels(a->write_strobe, b->write_strobe);
}

static uint16_t shortest(uint8_t n) {
    switch (n) {
    case 0: return BD_SETUP_NS;
    case 1: return BD_PULSE_NS;
    case 2: return BD_HOLD_NS;
    case 3: return BD_RECOVER_NS;
    default: return BD_RELEASE_NS;
    }
}

uint8_t serve_shape(bw_core *c) {
    bw_shape s;
    uint8_t slot = take8(c), code;
    s.width = take8(c);
    if (s.width != 1 && s.width != 2 && s.width != 4) take_bad(c, 3);
    s.first = take8(c);
    s.writes = take_flag(c);
    s.idle = take_levels(c);
    s.read_setup = take_levels(c);
    s.read_strobe = take_levels(c);
    s.write_setup = take_levels(c);
    s.write_strobe = take_levels(c);
    if (!s.writes) {
        s.write_setup.mask = s.write_setup.level = 0;
        s.write_strobe = s.write_setup;
    }
    for (uint8_t n = 0; n < 5; n++) s.times[n] = take16(c);
    if (!take_end(c)) return F_MALFORMED;
    if (slot >= BD_SHAPES) return F_NO_SHAPE;
    s.used = 1;
    if (!same(&c->shape[slot], &s)) {
        code = check_alone(c, &s);
        if (!code) code = check_beside(c, &s, slot);
        if (code) return code;
        for (uint8_t n = 0; n < 5; n++) {
            uint16_t least = shortest(n);
            s.waits[n] = bd_wait_of(s.times[n] > least ? s.times[n] : least);
        }
        hold_release(c);
        c->permit[slot].used = 0;
        for (uint8_t n = 0; n < BD_SCRIPTS; n++) c->script[n].checked = 0;
        c->shape[slot] = s;
        if (c->rail == RAIL_ON || c->rail == RAIL_RISING) {
            shape_hold(c);
            bd_control_drive(&c->bd, c->held.mask | c->line_moved, c->shape[slot].image_idle);
            lines_again(c);
        }
    }
    reply_begin(c);
    send8(c, slot);
    for (uint8_t n = 0; n < 5; n++) send16(c, bd_wait_ns(c->shape[slot].waits[n]));
    send_end(c);
    return F_NONE;
}
