/* Leave to write, one permit for each shape. */
#include <stddef.h>

#include "parts.h"

#define MASK_AT 18

enum { NONE, GIVEN, KEPT }; /* the last by a run that has begun while it held */

/* Ticks until it is over; 0: it is, or there is none. */
static uint32_t left(const bw_permit *p, uint32_t now) {
    int32_t ticks = (int32_t)(p->until - now);
    return p->used && ticks > 0 ? (uint32_t)ticks : 0;
}

/* The permit of a slot, if it holds now: a run keeps those that held when it began. */
const bw_permit *permit_of(bw_core *c, uint8_t slot) {
    const bw_permit *p = BW_NEAR(&c->permit[slot < BD_SHAPES ? slot : 0]);
    bool held = c->run_permits_on ? p->used == KEPT : left(p, bd_now(&c->bd)) != 0;
    return slot < BD_SHAPES && held ? p : 0;
}

BW_HERE bool permit_lives(bw_core *c, uint8_t slot) {
    return permit_of(c, slot) != 0;
}

uint16_t permit_keep(bw_core *c) {
    bw_permit *p = BW_NEAR(&c->permit[0]);
    uint32_t now = bd_now(&c->bd);
    uint16_t kept = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++, p++) {
        p->used = left(p, now) ? KEPT : NONE;
        if (p->used) kept |= (uint16_t)(1u << n);
    }
    c->run_permits_on = 1;
    return kept;
}

bool permit_lists(const bw_permit *p, uint32_t address) {
    const uint32_t *one = p->address;
    uint32_t mask = p->mask;
    for (uint8_t n = p->count; n; n--, one++) {
#ifdef BW_LOW_FIRST
        /* Most differ in the low byte. */
        if ((*(const uint8_t *)one ^ (uint8_t)address) & (uint8_t)mask) continue;
#endif
        if (!((*one ^ address) & mask)) return true;
    }
    return false;
}

bool permit_covers(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes) {
    const bw_permit *p = permit_of(c, slot);
    if (!p || lanes & ~p->lanes) return false;
    return address - p->start < p->words || permit_lists(p, address); /* the window does not wrap */
}

bool permit_window(bw_core *c, uint8_t slot, uint32_t first, uint32_t last) {
    const bw_permit *p = permit_of(c, slot);
    if (!p || word_ones(shape_at(c, slot)) & ~p->lanes) return false;
    first -= p->start;
    last -= p->start;
    return first <= last && last < p->words;
}

bool permit_lines(bw_core *c, uint8_t slot) {
    for (uint8_t n = 0; n < BD_SHAPES; n++) {
        const bw_permit *p = permit_of(c, n);
        if ((slot == 255 || slot == n) && p && p->lines) return true;
    }
    return false;
}

BW_HERE uint16_t permit_seconds(bw_core *c) {
    const bw_permit *p = BW_NEAR(&c->permit[0]);
    uint32_t longest = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++, p++) {
        uint32_t ticks = left(p, bd_now(&c->bd));
        if (ticks > longest) longest = ticks;
    }
    /* Rounded up, so that a permit that lives shows. */
    return (uint16_t)((longest + 1000000u * BD_TICKS - 1) / (1000000u * BD_TICKS));
}

/* The clock wraps, so a permit that is over is taken away before it could look young again; one at a
 * time, since there is time enough. */
BW_HERE void permit_poll(bw_core *c) {
    bw_permit *p = BW_NEAR(&c->permit[c->permit_seen]);
    uint32_t now = bd_now(&c->bd);
    if (!left(p, now)) {
        /* A run keeps those that held when it began: over it stays all the same. */
        p->until = now;
        if (!c->run_permits_on) p->used = NONE;
    }
    c->permit_seen = (uint8_t)(c->permit_seen + 1 == BD_SHAPES ? 0 : c->permit_seen + 1);
}

typedef struct {
    uint8_t slot;
    uint16_t seconds;
    bw_permit permit;
} asked;

static const bw_field fields[] BD_ROM = {
    {FIELD_8, offsetof(asked, slot)}, {FIELD_FLAG, offsetof(asked, permit.lines)},
    {FIELD_16, offsetof(asked, seconds)}, {FIELD_32, offsetof(asked, permit.start)},
    {FIELD_32, offsetof(asked, permit.words)}, {FIELD_32, offsetof(asked, permit.lanes)},
    {FIELD_32, offsetof(asked, permit.mask)}, {BW_VALUES + 1, offsetof(asked, permit.count)},
};

static BW_HERE uint8_t refusal(bw_core *c, const asked *a) {
    const bw_permit *p = &a->permit;
    if (!take_end(c)) return F_MALFORMED;
    if (!shape_get(c, a->slot)) return F_NO_SHAPE;
    if (p->count && p->mask == 0) {
        take_bad(c, MASK_AT);
        return F_MALFORMED;
    }
    if (span_check(c, p->start, 1, p->words)) return F_BEYOND;
    return a->seconds ? rail_refusal(c) : F_NONE;
}

uint8_t serve_permit(bw_core *c) {
    asked a;
    uint8_t code;
    take_row(c, &a, ROW_OF(fields));
    for (uint8_t n = 0; n < a.permit.count && !c->bad_at; n++) a.permit.address[n] = take32(c);
    code = refusal(c, &a);
    if (code) return code;
    a.permit.used = a.seconds ? GIVEN : NONE;
    /* Longer than half the clock's turn is cut to that: the host asks again long before. */
    a.permit.until = ms_ahead(c, 1000u * (uint32_t)a.seconds);
    c->permit[a.slot] = a.permit;
    reply_echo(c, 1);
    send16(c, a.seconds);
    send_end(c);
    return F_NONE;
}
