/* LINES and WALK: single lines, outside cycles. A line is a number: data from 0 on, address from 32,
 * control from 64. Lines are bits of bytes by that number, as in LINES' reply. */
#include <string.h>

#include "script.h"

enum { DATA, ADDRESS, CONTROL };
enum { INPUT, PULLED, LOW, HIGH };

#define TURNS_AT 5
#define ROW (BW_LINE_BYTES + 1u)
#define CONTROL_BYTE 8
#define ALL (8 * BW_LINE_BYTES)
#define ALL_DATA (0xFFFFFFFFu >> (32 - BD_DATA_LINES))

/* The board has this line. */
static bool there(uint8_t line) {
    uint8_t group = line / 32, lines = BD_CONTROL_LINES;
    if (group == DATA) lines = BD_DATA_LINES;
    if (group == ADDRESS) lines = BD_ADDRESS_LINES;
    return (line & 31) < lines;
}

static uint8_t bit_of(uint8_t line) {
    return (uint8_t)(1u << (line & 7));
}

static bool has(const uint8_t *lines, uint8_t line) {
    return lines[line / 8] & bit_of(line);
}

static uint8_t refused(bw_core *c, uint8_t line) {
    return fault_of(c, F_LINE, line / 32 | (uint16_t)(line & 31) << 8);
}

static BW_HERE void set_bit(uint8_t *lines, uint8_t line, bool on) {
    uint8_t bit = bit_of(line);
    lines += line / 8;
    *lines |= bit;
    if (!on) *lines ^= bit;
}

static void set(bw_drive *d, uint8_t line, uint8_t action) {
    set_bit(d->driven, line, action >= LOW);
    set_bit(d->level, line, action == HIGH);
    set_bit(d->pulled, line, action == PULLED);
}

static void act(bw_core *c, uint8_t line, uint8_t action) {
    bd_line(&c->bd, line / 32, line & 31, action);
}

static BW_HERE bd_lines_t control_of(const uint8_t *lines) {
    return (bd_lines_t)(lines[CONTROL_BYTE] | (uint16_t)lines[CONTROL_BYTE + 1] << 8);
}

/* The levels to which this shape's read or write brings lines from idle are all shown. */
static bool strobes(const bw_core *c, const bw_shape *s, bool write, bw_levels shown) {
    bw_levels idle = levels_then(c->held, s->levels[IDLE]);
    if (!s->used || (write && !s->writes)) return false;
    return levels_strobe(idle, levels_strobed(idle, s, write ? WRITE_SETUP : READ_SETUP), shown);
}

/* Lines that a shape names; the others are nobody's. */
static bd_lines_t named(bw_core *c) {
    bd_lines_t mask = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_shape *s = shape_get(c, n);
        if (!s) continue;
        for (uint8_t part = IDLE; part <= WRITE_STROBE; part++) mask |= s->levels[part].mask;
    }
    return mask;
}

/* No write phase comes about but of a shape that may move lines. */
static bool no_strobe(bw_core *c, bw_levels shown) {
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (strobes(c, shape_at(c, n), true, shown) && !permit_lines(c, n)) return false;
    return true;
}

BW_HERE bool lines_may_move(bw_core *c, bw_levels moved) {
    bw_levels then = levels_then(levels_held(c), moved);
    if (!permit_lines(c, 255) && (!(named(c) & moved.mask) || shape_reads_write(c, then))) return false;
    return no_strobe(c, then);
}

/* docs/wire.md, "Single lines". */
static uint8_t check(bw_core *c, const bw_drive *d) {
    bw_levels control, shown;
    bd_lines_t moved, unknown;
    if (!rail_closed(c)) {
        for (uint8_t at = 0; at < BW_LINE_BYTES; at++) {
            uint8_t feeds = d->pulled[at] | (d->driven[at] & d->level[at]);
            if (at >= CONTROL_BYTE) feeds |= d->driven[at];
            if (feeds) return refused(c, (uint8_t)(at * 8 + lowest_bit(feeds)));
        }
        return F_NONE;
    }
    control.mask = control_of(d->driven);
    control.level = control_of(d->level);
    shown = levels_then(levels_held(c), control);
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_shape *s = shape_at(c, n);
        if (!strobes(c, s, false, shown)) continue;
        for (uint8_t line = s->first; line < s->first + s->width * 8; line++)
            if (has(d->driven, line)) return refused(c, line);
    }
    moved = (shown.level ^ c->held.level) | (shown.mask & ~c->held.mask);
    unknown = (control.mask & ~named(c)) | (control.mask & moved & hello_strobes());
    if (!unknown || permit_lines(c, 255)) unknown = no_strobe(c, shown) ? 0 : control.mask;
    return unknown ? refused(c, CONTROL * 32 + lowest_bit(unknown)) : F_NONE;
}

/* The levels of all lines. */
static BW_HERE void see(bw_core *c, uint8_t *seen) {
    uint16_t control = bd_control_in(&c->bd);
    op_put(seen, bd_data_in(&c->bd));
    op_put(seen + 4, bd_address_in(&c->bd));
    seen[CONTROL_BYTE] = (uint8_t)control;
    seen[CONTROL_BYTE + 1] = (uint8_t)(control >> 8);
}

/* Lets one line go: a held control line goes back to its level. */
static BW_HERE void free_line(bw_core *c, uint8_t line) {
    bw_levels held = levels_held(c);
    uint8_t action = INPUT;
    if (line >= CONTROL * 32 && rail_closed(c) && held.mask >> (line & 31) & 1)
        action = held.level >> (line & 31) & 1 ? HIGH : LOW;
    act(c, line, action);
}

/* Drives a line, and lets it go again at once if it reads opposite. Returns if it stayed. */
static BW_HERE bool drive(bw_core *c, uint8_t line, bool high) {
#ifdef BD_TRY
    return bd_try(&c->bd, line / 32, line & 31, high);
#else
    uint8_t seen[BW_LINE_BYTES];
    act(c, line, high ? HIGH : LOW);
    see(c, seen);
    if (has(seen, line) == high) return true;
    free_line(c, line);
    return false;
#endif
}

static void all_input(bw_core *c) {
    bus_release(c);
    bus_free(c);
}

void lines_release(bw_core *c) {
    bw_drive *d = &c->drive;
    if (!c->lines_set) return;
    c->lines_set = 0;
    /* The control lines first: while they show a write, address and data must stand still. */
    for (uint8_t n = ALL; n--;)
        if (has(d->driven, n) || has(d->pulled, n)) {
            free_line(c, n);
            set(d, n, INPUT);
        }
}

BW_HERE void lines_again(bw_core *c) {
    if (!c->lines_set) return;
    for (uint8_t n = CONTROL * 32; n < ALL; n++)
        if (has(c->drive.driven, n)) act(c, n, has(c->drive.level, n) ? HIGH : LOW);
}

static uint8_t take_line(bw_core *c) {
    uint8_t group = take_below(c, 3);
    return (uint8_t)(group * 32 + take_below(c, 32));
}

/* When a line gets its turn: control lines that go back, data and address lines, the other control
 * lines; so address and data stand still as long as a write is shown. */
enum { BACK, BETWEEN, ON, TURNS };
static BW_HERE uint8_t turn_of(bw_core *c, const bw_drive *d, uint8_t line) {
    bw_levels held = levels_held(c);
    if (line < CONTROL * 32) return BETWEEN;
    if (!has(d->driven, line)) return BACK;
    line &= 31;
    if (!(held.mask >> line & 1)) return ON;
    return (control_of(d->level) ^ held.level) >> line & 1 ? ON : BACK;
}

/* From the lines as they are to those of `d`, of which those stay inputs that read opposite: they are
 * named in `contended`. What stays as it was does not move. */
static BW_HERE void move_to(bw_core *c, bw_drive *d, uint8_t *contended) {
    if (!c->lines_set) all_input(c);
    for (uint8_t turn = 0; turn < TURNS; turn++)
        for (uint8_t line = 0; line < ALL; line++) {
            if (turn_of(c, d, line) != turn) continue;
            if (has(d->pulled, line)) {
                act(c, line, PULLED);
            } else if (!has(d->driven, line)) {
                if (has(c->drive.driven, line) || has(c->drive.pulled, line)) free_line(c, line);
            } else {
                bool high = has(d->level, line);
                /* One that changes begins as an input: what is tried and fails goes back to that. */
                if (has(c->drive.pulled, line) ||
                    (has(c->drive.driven, line) && has(c->drive.level, line) != high))
                    free_line(c, line);
                if (drive(c, line, high)) continue;
                free_line(c, line);
                set_bit(contended, line, true);
                set(d, line, INPUT);
            }
        }
}

uint8_t serve_lines(bw_core *c) {
    uint16_t hold = take16(c), at;
    uint8_t count = take8(c), line, action, code;
    uint8_t seen[BW_LINE_BYTES], contended[BW_LINE_BYTES] = {0};
    bw_drive d = c->drive;
    at = c->at;
    for (uint8_t n = 0; n < count && !c->bad_at; n++) {
        take_line(c);
        take_below(c, 4);
    }
    if (!take_end(c)) return F_MALFORMED;
    c->at = at;
    for (uint8_t n = 0; n < count; n++) {
        line = take_line(c);
        action = take8(c);
        if (!there(line)) return refused(c, line);
        set(&d, line, action);
    }
    code = check(c, &d);
    if (code) return code;
    move_to(c, &d, contended);
    see(c, seen);
    c->drive = d;
    c->lines_set = 1;
    c->lines_until = ms_ahead(c, hold);
    if (!hold) lines_release(c);
    reply_body(c, seen, sizeof seen);
    send_bytes(c, contended, sizeof contended);
    send_end(c);
    return F_NONE;
}

/* Data and address lines at the opposite of the walk: charged, then let go, pulled up in a low one. */
static BW_HERE void rest(bw_core *c, bool high) {
    uint32_t levels = high ? 0 : 0xFFFFFFFFu;
    if (rail_closed(c)) {
        bd_data_drive(&c->bd, ALL_DATA, levels & ALL_DATA);
        bd_address(&c->bd, levels);
        bd_address_drive(&c->bd, true);
    }
    bus_free(c);
    if (!rail_closed(c) || high) return;
    for (uint8_t n = 0; n < CONTROL * 32; n++)
        if (there(n)) act(c, n, PULLED);
}

/* Drives a line and takes the levels of all; false if it read opposite. */
static BW_HERE bool look(bw_core *c, uint8_t line, bool high, uint8_t *seen) {
#ifdef BD_TRY
    return bd_look(&c->bd, line / 32, line & 31, high, seen);
#else
    bool stayed = drive(c, line, high);
    see(c, seen);
    free_line(c, line);
    return stayed;
#endif
}

/* A row: what each line showed in all turns, if it was always the opposite of the walk; and whether
 * the line itself was held by something else. */
static BW_HERE void walk_line(bw_core *c, uint8_t line, bool high, uint8_t *row) {
    uint8_t seen[BW_LINE_BYTES];
    rest(c, high);
    if (!look(c, line, high, seen)) row[BW_LINE_BYTES] = 1;
    for (uint8_t n = 0; n < BW_LINE_BYTES; n++) row[n] = high ? row[n] | seen[n] : row[n] & seen[n];
}

static BW_HERE uint8_t walk_check(bw_core *c, bool high, uint8_t count) {
    bw_drive d = {{0}, {0}, {0}};
    uint8_t line, code;
    if (rail_closed(c)) {
        op_put(d.driven, ALL_DATA);
        code = check(c, &d);
        if (code) return code;
        op_put(d.driven, 0);
    }
    while (count--) {
        line = take_line(c);
        if (!there(line)) return refused(c, line);
        set(&d, line, high ? HIGH : LOW);
        code = check(c, &d);
        if (code) return code;
        set(&d, line, INPUT);
    }
    return F_NONE;
}

uint8_t serve_walk(bw_core *c) {
    uint16_t nonce = take16(c), turns, list, at;
    bool high = take_flag(c);
    uint8_t count, line, code, *row;
    turns = take16(c);
    count = take8(c);
    at = c->at;
    list = line_index(c->in.body, at);
    for (uint8_t n = 0; n < count && !c->bad_at; n++) take_line(c);
    if (take_end(c) && turns == 0) take_bad(c, TURNS_AT);
    if (c->bad_at) return F_MALFORMED;
    if (count > BD_ROWS) return F_TOO_LONG;
    c->at = at;
    code = walk_check(c, high, count);
    if (code) return code;
    all_input(c);
    row = c->scratch;
    for (uint8_t n = 0; n < count; n++, row += ROW) {
        memset(row, high ? 0 : 0xFF, BW_LINE_BYTES);
        row[BW_LINE_BYTES] = 0;
    }
    work_whole(c, turns);
    while (turns--) {
        at = list;
        row = c->scratch;
        for (uint8_t n = 0; n < count; n++, row += ROW) {
            if (!breathe(c)) break;
            line = (uint8_t)(c->ring[at] * 32);
            at = line_index(at, 1);
            line += c->ring[at];
            at = line_index(at, 1);
            walk_line(c, line, high, row);
        }
        count_on(&c->work.done, 1);
        if (!breathe(c)) break;
    }
    all_input(c);
    if (c->work.cause != E_GOOD) return work_fault(c);
    reply_begin(c);
    send16(c, nonce);
    send8(c, count);
    for (row = c->scratch; count--; row += ROW) send_bytes(c, row, ROW);
    send_end(c);
    return F_NONE;
}
