/* LINES and WALK: single lines, outside cycles. */
#include "parts.h"

enum { DATA, ADDRESS, CONTROL };
enum { INPUT, PULLED, LOW, HIGH };

#define TURNS_AT 5
#define LEVELS 10u
#define ROW (LEVELS + 1u)

static uint8_t width(uint8_t group) {
    return group == DATA ? BD_DATA_LINES : group == ADDRESS ? BD_ADDRESS_LINES : BD_CONTROL_LINES;
}

static bool powered(const bw_core *c) {
    return c->rail == RAIL_ON || c->rail == RAIL_RISING;
}

static uint8_t refused(bw_core *c, uint8_t group, uint8_t line) {
    return fault_of(c, F_LINE, group | (uint32_t)line << 8);
}

static uint8_t lowest(uint32_t mask) {
    uint8_t n = 0;
    while (n < 31 && !(mask >> n & 1)) n++;
    return n;
}

static void set(bw_drive *d, uint8_t group, uint8_t line, uint8_t action) {
    uint32_t bit = (uint32_t)1 << line;
    d->driven[group] &= ~bit;
    d->level[group] &= ~bit;
    d->pulled[group] &= ~bit;
    if (action >= LOW) d->driven[group] |= bit;
    if (action == HIGH) d->level[group] |= bit;
    if (action == PULLED) d->pulled[group] |= bit;
}

static bw_levels control_with(const bw_core *c, bw_levels over) {
    bw_levels moved;
    moved.mask = c->line_moved;
    moved.level = c->line_level;
    return levels_then(levels_then(c->held, moved), over);
}

/* The levels to which this shape's write brings lines from idle are all shown. */
static bool strobes(const bw_core *c, const bw_shape *s, bool write, bw_levels shown) {
    bw_levels idle = levels_then(c->held, s->idle), on;
    if (write && !s->writes) return false;
    on = levels_then(idle, write ? s->write_setup : s->read_setup);
    on = levels_then(on, write ? s->write_strobe : s->read_strobe);
    return levels_strobe(idle, on, shown);
}

static uint16_t named(const bw_core *c) {
    uint16_t mask = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_shape *s = &c->shape[n];
        if (s->used)
            mask |= s->idle.mask | s->read_setup.mask | s->read_strobe.mask | s->write_setup.mask |
                    s->write_strobe.mask;
    }
    return mask;
}

bool lines_may_move(bw_core *c, bw_levels moved) {
    bw_levels shown = control_with(c, moved);
    if (!(named(c) & moved.mask) && !permit_lines(c, 255)) return false;
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (c->shape[n].used && strobes(c, &c->shape[n], true, shown) && !permit_lines(c, n))
            return false;
    return true;
}

/* docs/wire.md, "Single lines". */
static uint8_t check(bw_core *c, const bw_drive *d) {
    bw_levels control, shown;
    uint16_t moved, unknown;
    if (!powered(c)) {
        for (uint8_t group = 0; group < 3; group++) {
            uint32_t feeds = d->pulled[group] | (d->driven[group] & d->level[group]);
            if (group == CONTROL) feeds |= d->driven[group];
            if (feeds) return refused(c, group, lowest(feeds));
        }
        return F_NONE;
    }
    control.mask = (uint16_t)d->driven[CONTROL];
    control.level = (uint16_t)d->level[CONTROL];
    shown = control_with(c, control);
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_shape *s = &c->shape[n];
        uint32_t fought;
        if (!s->used || !strobes(c, s, false, shown)) continue;
        fought = d->driven[DATA] & word_ones(s) << s->first;
        if (fought) return refused(c, DATA, lowest(fought));
    }
    moved = (uint16_t)((shown.level ^ c->held.level) | (shown.mask & ~c->held.mask));
    unknown = (uint16_t)((control.mask & ~named(c)) | (control.mask & moved & hello_strobes()));
    if (unknown && !permit_lines(c, 255)) return refused(c, CONTROL, lowest(unknown));
    for (uint8_t n = 0; control.mask && n < BD_SHAPES; n++)
        if (c->shape[n].used && strobes(c, &c->shape[n], true, shown) && !permit_lines(c, n))
            return refused(c, CONTROL, lowest(control.mask));
    return F_NONE;
}

static uint32_t level_of(bw_core *c, uint8_t group) {
    if (group == DATA) return bd_data_in(&c->bd);
    return group == ADDRESS ? bd_address_in(&c->bd) : bd_control_in(&c->bd);
}

/* Lets one line go: a held control line goes back to its level. */
static void free_line(bw_core *c, uint8_t group, uint8_t line) {
    uint16_t held = c->held.mask | c->line_moved;
    if (group == CONTROL && powered(c) && held >> line & 1) {
        uint16_t level = (uint16_t)((c->held.level & ~c->line_moved) | c->line_level);
        bd_line(&c->bd, CONTROL, line, level >> line & 1 ? HIGH : LOW);
    } else {
        bd_line(&c->bd, group, line, INPUT);
    }
}

/* Drives a line; false, and let go again at once, if it reads opposite. */
static bool drive(bw_core *c, uint8_t group, uint8_t line, bool high) {
#ifdef BD_TRY
    return bd_try(&c->bd, group, line, high);
#else
    bd_line(&c->bd, group, line, high ? HIGH : LOW);
    if ((level_of(c, group) >> line & 1) == high) return true;
    free_line(c, group, line);
    return false;
#endif
}

static void all_input(bw_core *c) {
    hold_release(c);
    bd_data_free(&c->bd);
    bd_address_drive(&c->bd, false);
    c->bus_out = 0;
}

void lines_release(bw_core *c) {
    if (!c->lines_set) return;
    c->lines_set = 0;
    for (uint8_t group = 0; group < 3; group++) {
        for (uint8_t n = 0; n < width(group); n++)
            if ((c->drive.driven[group] | c->drive.pulled[group]) >> n & 1) free_line(c, group, n);
        c->drive.driven[group] = c->drive.level[group] = c->drive.pulled[group] = 0;
    }
}

void lines_again(bw_core *c) {
    if (!c->lines_set) return;
    for (uint8_t n = 0; n < BD_CONTROL_LINES; n++)
        if (c->drive.driven[CONTROL] >> n & 1)
            bd_line(&c->bd, CONTROL, n, c->drive.level[CONTROL] >> n & 1 ? HIGH : LOW);
}

static uint8_t take_line(bw_core *c, uint8_t *group, uint8_t *line) {
    *group = take_below(c, 3);
    *line = take_below(c, 32);
    return *line;
}

uint8_t serve_lines(bw_core *c) {
    uint16_t hold = take16(c), at;
    uint8_t count = take8(c), group, line, action, code;
    bw_drive d = c->drive;
    uint32_t contended[3] = {0, 0, 0};
    at = c->at;
    for (uint8_t n = 0; n < count && !c->bad_at; n++) {
        take_line(c, &group, &line);
        take_below(c, 4);
    }
    if (!take_end(c)) return F_MALFORMED;
    c->at = at;
    for (uint8_t n = 0; n < count; n++) {
        take_line(c, &group, &line);
        action = take_below(c, 4);
        if (line >= width(group)) return refused(c, group, line);
        set(&d, group, line, action);
    }
    code = check(c, &d);
    if (code) return code;
    lines_release(c);
    all_input(c);
    for (group = 0; group < 3; group++) {
        for (uint8_t n = 0; n < width(group); n++) {
            uint32_t bit = (uint32_t)1 << n;
            if (d.pulled[group] & bit) {
                bd_line(&c->bd, group, n, PULLED);
            } else if (d.driven[group] & bit) {
                if (!drive(c, group, n, (d.level[group] & bit) != 0)) {
                    contended[group] |= bit;
                    d.driven[group] &= ~bit;
                    d.level[group] &= ~bit;
                }
            }
        }
    }
    reply_begin(c);
    send32(c, level_of(c, DATA));
    send32(c, level_of(c, ADDRESS));
    send16(c, (uint16_t)level_of(c, CONTROL));
    send32(c, contended[DATA]);
    send32(c, contended[ADDRESS]);
    send16(c, (uint16_t)contended[CONTROL]);
    c->drive = d;
    c->lines_set = 1;
    c->lines_until = bd_now(&c->bd) + ms_ticks(hold);
    if (!hold) lines_release(c);
    send_end(c);
    return F_NONE;
}

/* Data and address lines at the opposite of the walk: charged, then let go, pulled up in a low one. */
static void rest(bw_core *c, bool high) {
    uint32_t levels = high ? 0 : 0xFFFFFFFFu;
    const uint32_t all = 0xFFFFFFFFu >> (32 - BD_DATA_LINES);
    if (powered(c)) {
        bd_data_drive(&c->bd, all, levels & all);
        bd_address(&c->bd, levels);
        bd_address_drive(&c->bd, true);
    }
    bd_data_free(&c->bd);
    bd_address_drive(&c->bd, false);
    if (!powered(c) || high) return;
    for (uint8_t n = 0; n < BD_DATA_LINES; n++) bd_line(&c->bd, DATA, n, PULLED);
    for (uint8_t n = 0; n < BD_ADDRESS_LINES; n++) bd_line(&c->bd, ADDRESS, n, PULLED);
}

#ifndef BD_TRY
static void put(uint8_t *at, uint32_t value, uint8_t bytes) {
    for (uint8_t n = 0; n < bytes; n++, value >>= 8) at[n] = (uint8_t)value;
}
#endif

/* Drives a line and takes the levels of all; false if it read opposite. */
static bool look(bw_core *c, uint8_t group, uint8_t line, bool high, uint8_t *seen) {
#ifdef BD_TRY
    bool stayed = bd_look(&c->bd, group, line, high, seen);
#else
    bool stayed = drive(c, group, line, high);
    uint32_t data = bd_data_in(&c->bd), address = bd_address_in(&c->bd);
    uint16_t control = bd_control_in(&c->bd);
    free_line(c, group, line);
    put(seen, data, 4);
    put(seen + 4, address, 4);
    put(seen + 8, control, 2);
#endif
    return stayed;
}

static void walk_line(bw_core *c, uint8_t group, uint8_t line, bool high, uint8_t *row) {
    uint8_t seen[LEVELS];
    rest(c, high);
    if (!look(c, group, line, high, seen)) row[LEVELS] = 1;
    for (uint8_t n = 0; n < LEVELS; n++) row[n] = high ? row[n] | seen[n] : row[n] & seen[n];
}

static uint8_t walk_check(bw_core *c, bool high, uint16_t list, uint8_t count) {
    bw_drive d = {{0}, {0}, {0}};
    if (powered(c)) {
        d.driven[DATA] = 0xFFFFFFFFu >> (32 - BD_DATA_LINES);
        uint8_t code = check(c, &d);
        if (code) return code;
        d.driven[DATA] = 0;
    }
    for (uint8_t n = 0; n < count; n++) {
        uint8_t group = c->ring[line_index(list, (uint16_t)(2 * n))];
        uint8_t line = c->ring[line_index(list, (uint16_t)(2 * n + 1))], code;
        if (line >= width(group)) return refused(c, group, line);
        set(&d, group, line, high ? HIGH : LOW);
        code = check(c, &d);
        if (code) return code;
        set(&d, group, line, INPUT);
    }
    return F_NONE;
}

uint8_t serve_walk(bw_core *c) {
    uint16_t nonce = take16(c), turns, list, turn;
    bool high = take_flag(c);
    uint8_t count, group, line, code;
    turns = take16(c);
    count = take8(c);
    list = line_index(c->body, c->at);
    for (uint8_t n = 0; n < count && !c->bad_at; n++) take_line(c, &group, &line);
    if (take_end(c) && turns == 0) take_bad(c, TURNS_AT);
    if (c->bad_at) return F_MALFORMED;
    if (count > BD_ROWS) return F_TOO_LONG;
    code = walk_check(c, high, list, count);
    if (code) return code;
    lines_release(c);
    all_input(c);
    for (uint16_t n = 0; n < count * ROW; n++)
        c->scratch[n] = n % ROW == 10 || high ? 0 : 0xFF;
    work_whole(c, turns);
    for (turn = 0; turn < turns; turn++) {
        for (uint8_t n = 0; n < count; n++) {
            if (!breathe(c)) break;
            walk_line(c, c->ring[line_index(list, (uint16_t)(2 * n))],
                      c->ring[line_index(list, (uint16_t)(2 * n + 1))], high,
                      c->scratch + n * ROW);
        }
        c->work_done++;
        if (!breathe(c)) break;
    }
    all_input(c);
    if (c->cause != E_GOOD) return work_fault(c);
    reply_begin(c);
    send16(c, nonce);
    send8(c, count);
    for (uint16_t n = 0; n < count * ROW; n++) send8(c, c->scratch[n]);
    send_end(c);
    return F_NONE;
}
