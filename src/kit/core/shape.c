/* Shapes: what is refused, and the images that cycles are made of. The rules are those of
 * docs/wire.md, "Which shapes are refused". */
#include <stddef.h>
#include <string.h>

#include "parts.h"

BW_HERE bw_levels levels_then(bw_levels under, bw_levels over) {
    bw_levels both;
    both.mask = under.mask | over.mask;
    both.level = (bd_lines_t)((under.level & ~over.mask) | over.level);
    return both;
}

bw_levels levels_held(const bw_core *c) {
    return levels_then(c->held, c->moved);
}

/* The levels in set-up: lines that the strobe alone names show its opposite until then. */
static bw_levels set_up(bw_levels idle, const bw_shape *s, uint8_t setup) {
    bw_levels on = levels_then(idle, s->levels[setup]), strobe = s->levels[setup + 1];
    on.level |= strobe.mask & (bd_lines_t) ~(on.mask | strobe.level);
    on.mask |= strobe.mask;
    return on;
}

/* The levels of a strobe: `setup` says of the read or of the write. */
BW_HERE bw_levels levels_strobed(bw_levels idle, const bw_shape *s, uint8_t setup) {
    return levels_then(levels_then(idle, s->levels[setup]), s->levels[setup + 1]);
}

/* The lines that `strobe` changes from idle. A line that idle does not name is changed by being
 * named. */
static BW_HERE bd_lines_t changed(bw_levels idle, bw_levels strobe) {
    return (bd_lines_t)((strobe.level ^ idle.level) | (strobe.mask & ~idle.mask));
}

/* True if `shown` has every line that `strobe` changes from idle as `strobe` has it. */
BW_HERE bool levels_strobe(bw_levels idle, bw_levels strobe, bw_levels shown) {
    bd_lines_t lines = changed(idle, strobe);
    return !(lines & (bd_lines_t)(~shown.mask | (shown.level ^ strobe.level)));
}

bw_shape *shape_at(bw_core *c, uint8_t slot) {
    return BW_NEAR(&c->shape[slot]);
}

bw_shape *shape_get(bw_core *c, uint8_t slot) {
    bw_shape *s;
    if (slot >= BD_SHAPES) return 0;
    s = shape_at(c, slot);
    return s->used ? s : 0;
}

BW_HERE uint8_t shape_count(bw_core *c) {
    uint8_t count = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++) count += shape_at(c, n)->used;
    return count;
}

uint32_t word_ones(const bw_shape *s) {
    return ones_of(s->width);
}

/* Whole bytes first: a shift by a number that is not known beforehand takes long on a small controller. */
uint32_t word_up(const bw_shape *s, uint32_t word) {
    uint8_t first = s->first;
    for (; first >= 8; first -= 8) word <<= 8;
    while (first--) word <<= 1;
    return word;
}

uint32_t word_lines(const bw_shape *s) {
    return word_up(s, word_ones(s));
}

void shape_hold(bw_core *c) {
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (shape_get(c, n)) c->held = levels_then(c->held, shape_at(c, n)->levels[IDLE]);
    shape_images(c);
}

void shape_images(bw_core *c) {
    bw_levels at = levels_held(c), on;
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        bw_shape *s = shape_get(c, n);
        if (!s) continue;
        s->image[IDLE] = at.level;
        on = set_up(at, s, READ_SETUP);
        s->image[READ_SETUP] = on.level;
        on = levels_then(on, s->levels[READ_STROBE]);
        s->image[READ_STROBE] = on.level;
        s->drives_read = on.mask & (bd_lines_t)~at.mask;
        on = set_up(at, s, WRITE_SETUP);
        s->image[WRITE_SETUP] = on.level;
        on = levels_then(on, s->levels[WRITE_STROBE]);
        s->image[WRITE_STROBE] = on.level;
        s->drives_write = on.mask & (bd_lines_t)~at.mask;
    }
}

static uint8_t refused(bw_core *c, uint8_t reason, uint8_t about) {
    return fault_of(c, F_SHAPE_REFUSED, reason | (uint16_t)about << 8);
}

uint8_t lowest_bit(uint16_t mask) {
    uint8_t n = 0;
    for (; !(mask & 1); mask >>= 1) n++;
    return n;
}

/* The read phase of `reader` that is a write of `writer`: 0 to 2; 3 if none is. */
static uint8_t reads_as_write(bw_levels idle, const bw_shape *reader, const bw_shape *writer) {
    bw_levels strobe = levels_strobed(idle, writer, WRITE_SETUP), shown = idle;
    uint8_t phase = 0;
    if (!writer->writes) return 3;
    while (!levels_strobe(idle, strobe, shown) && ++phase < 3)
        shown = phase == 1 ? set_up(idle, reader, READ_SETUP)
                           : levels_then(shown, reader->levels[READ_STROBE]);
    return phase;
}

static BW_HERE uint8_t check_alone(bw_core *c, const bw_shape *s) {
    bw_levels idle = s->levels[IDLE];
    uint16_t last = (uint16_t)(s->first + s->width * 8 - 1);
    bd_lines_t moved;
    uint8_t phase;
    if (last >= BD_DATA_LINES) return refused(c, 4, (uint8_t)last);
    moved = changed(idle, levels_then(idle, s->levels[READ_SETUP])) |
            changed(idle, levels_strobed(idle, s, READ_SETUP));
    moved &= hello_strobes();
    if (moved) return refused(c, 2, lowest_bit(moved));
    phase = reads_as_write(idle, s, s);
    return phase < 3 ? refused(c, 1, phase) : F_NONE;
}

/* What will be in slot `n` when `s` is in `slot`; NULL: nothing. */
static const bw_shape *as_if(bw_core *c, const bw_shape *s, uint8_t slot, uint8_t n) {
    return n == slot ? s : shape_get(c, n);
}

/* With these levels in idle a read of some shape would be a write of one. */
bool shape_reads_write(bw_core *c, bw_levels idle) {
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        for (uint8_t m = 0; m < BD_SHAPES; m++) {
            const bw_shape *reader = shape_get(c, n), *writer = shape_get(c, m);
            if (reader && writer && reads_as_write(idle, reader, writer) < 3) return true;
        }
    return false;
}

static BW_HERE bool at_odds(bw_levels a, bw_levels b) {
    return (a.level ^ b.level) & a.mask & b.mask;
}

static BW_HERE uint8_t check_beside(bw_core *c, const bw_shape *s, uint8_t slot) {
    bw_levels all = levels_then(c->held, s->levels[IDLE]);
    const bw_shape *reader, *writer;
    uint8_t n, m;
    for (n = 0; n < BD_SHAPES; n++) {
        reader = as_if(c, s, slot, n);
        if (!reader) continue;
        if (at_odds(reader->levels[IDLE], s->levels[IDLE])) return refused(c, 6, n);
        all = levels_then(all, reader->levels[IDLE]);
    }
    if (at_odds(c->held, s->levels[IDLE])) return refused(c, 6, slot);
    all = levels_then(all, c->moved);
    for (n = 0; n < BD_SHAPES; n++) {
        reader = as_if(c, s, slot, n);
        for (m = 0; reader && m < BD_SHAPES; m++) {
            writer = as_if(c, s, slot, m);
            if (writer && reads_as_write(all, reader, writer) < 3)
                return refused(c, 7, n == slot ? m : n);
        }
    }
    return F_NONE;
}

static const uint16_t shortest[5] BD_ROM = {
    BD_SETUP_NS, BD_PULSE_NS, BD_HOLD_NS, BD_RECOVER_NS, BD_RELEASE_NS,
};

static const bw_field fields[] BD_ROM = {
    {FIELD_WIDTH, offsetof(bw_shape, width)},
    {FIELD_8, offsetof(bw_shape, first)},
    {FIELD_FLAG, offsetof(bw_shape, writes)},
};

static void take_words(bw_core *c, uint16_t *to, uint8_t count) {
    while (count--) *to++ = take16(c);
}

/* Whoever reads next may do so by another shape than who drives the lines then. */
static BW_HERE void release_of_all(bw_core *c) {
    uint16_t longest = BD_RELEASE_NS;
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_shape *s = shape_get(c, n);
        if (s && s->times[4] > longest) longest = s->times[4];
    }
    c->release = bd_wait_of(longest);
}

uint8_t serve_shape(bw_core *c) {
    bw_shape s, *there;
    uint16_t levels[10]; /* mask and level, as they came */
    uint8_t slot = take8(c), code, n;
    memset(&s, 0, sizeof s); /* with the gaps that a compiler may leave */
    take_row(c, &s, ROW_OF(fields));
    take_words(c, levels, 10);
    take_words(c, s.times, 5);
    if (!take_end(c)) return F_MALFORMED;
    if (slot >= BD_SHAPES) return F_NO_SHAPE;
    there = shape_at(c, slot);
    s.used = 1;
    for (n = 0; n < 5; n++) {
        uint16_t mask = levels[2 * n], level = levels[2 * n + 1], missing;
        if (n >= WRITE_SETUP && !s.writes) mask = level = 0;
        if (level & ~mask) return refused(c, 5, 0);
        missing = mask & (uint16_t)~BW_CONTROL_MASK;
        if (missing) return refused(c, 3, lowest_bit(missing));
        s.levels[n].mask = (bd_lines_t)mask;
        s.levels[n].level = (bd_lines_t)level;
    }
    /* What makes it the same stands first, without gaps. */
    if (memcmp(there, &s, offsetof(bw_shape, waits)) != 0) {
        code = check_alone(c, &s);
        if (!code) code = check_beside(c, &s, slot);
        if (code) return code;
        for (n = 0; n < 5; n++) {
            uint16_t least = BD_ROM16(&shortest[n]);
            s.waits[n] = bd_wait_of(s.times[n] > least ? s.times[n] : least);
        }
        hold_release(c);
        c->permit[slot].used = 0;
        for (n = 0; n < BD_SCRIPTS; n++) c->script[n].checked = 0;
        *there = s;
        release_of_all(c);
        if (rail_closed(c)) {
            shape_hold(c);
            bd_control_drive(&c->bd, levels_held(c).mask, there->image[IDLE]);
            lines_again(c);
        }
    }
    reply_begin(c);
    send8(c, slot);
    for (n = 0; n < 5; n++) send16(c, bd_wait_ns(there->waits[n]));
    send_end(c);
    return F_NONE;
}
