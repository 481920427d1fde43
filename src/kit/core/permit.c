/* Leave to write, one permit for each shape. */
#include "parts.h"

#define MASK_AT 18

static bool lives(const bw_permit *p, uint32_t now) {
    return p->used && (int32_t)(p->until - now) > 0;
}

/* A run keeps the permits that held when it began. */
static bool holds(bw_core *c, uint8_t slot) {
    const bw_permit *p = &c->permit[slot];
    if (slot >= BD_SHAPES) return false;
    return c->run_permits_on ? p->used && (c->run_permits >> slot & 1) : lives(p, bd_now(&c->bd));
}

bool permit_lives(bw_core *c, uint8_t slot) {
    return holds(c, slot);
}

void permit_keep(bw_core *c) {
    uint32_t now = bd_now(&c->bd);
    uint16_t kept = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (lives(&c->permit[n], now)) kept |= (uint16_t)(1u << n);
    c->run_permits = kept;
    c->run_permits_on = 1;
}

bool permit_covers(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes) {
    const bw_permit *p = &c->permit[slot];
    if (!holds(c, slot) || lanes & ~p->lanes) return false;
    if (address - p->start < p->words && address >= p->start) return true;
    for (uint8_t n = 0; n < p->count; n++)
        if (((address ^ p->address[n]) & p->mask) == 0) return true;
    return false;
}

/* The data window has all words from `first` to `last`, and writes go to all lines. */
bool permit_window(bw_core *c, uint8_t slot, uint32_t first, uint32_t last) {
    const bw_permit *p = &c->permit[slot];
    return first <= last && holds(c, slot) && !(word_ones(&c->shape[slot]) & ~p->lanes) &&
           first >= p->start && last - p->start < p->words;
}

bool permit_lines(bw_core *c, uint8_t slot) {
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if ((slot == 255 || slot == n) && holds(c, n) && c->permit[n].lines) return true;
    return false;
}

uint16_t permit_seconds(bw_core *c) {
    uint32_t now = bd_now(&c->bd), longest = 0;
    for (uint8_t n = 0; n < BD_SHAPES; n++)
        if (lives(&c->permit[n], now) && c->permit[n].until - now > longest)
            longest = c->permit[n].until - now;
    /* Rounded up, so that a permit that lives shows. */
    return (uint16_t)((longest + 1000000u * BD_TICKS - 1) / (1000000u * BD_TICKS));
}

/* The clock wraps, so a permit that is over is taken away before it could look young again; one at a
 * time, since there is time enough. */
void permit_poll(bw_core *c, uint32_t now) {
    bw_permit *p = &c->permit[c->permit_seen];
    if (c->run_permits_on) return;
    if (!lives(p, now)) p->used = 0;
    c->permit_seen = (uint8_t)(c->permit_seen + 1 == BD_SHAPES ? 0 : c->permit_seen + 1);
}

uint8_t serve_permit(bw_core *c) {
    const uint32_t reach = 0xFFFFFFFFu >> (32 - BD_ADDRESS_LINES);
    bw_permit p = {0};
    uint8_t slot = take8(c);
    uint16_t seconds, at;
    p.lines = take_flag(c);
    seconds = take16(c);
    p.start = take32(c);
    p.words = take32(c);
    p.lanes = take32(c);
    p.mask = take32(c);
    at = c->at;
    p.count = take8(c);
    if (p.count > 8) take_bad(c, at);
    for (uint8_t n = 0; n < p.count && !c->bad_at; n++) p.address[n] = take32(c);
    if (!take_end(c)) return F_MALFORMED;
    if (!shape_get(c, slot)) return F_NO_SHAPE;
    if (p.count && p.mask == 0) {
        take_bad(c, MASK_AT);
        return F_MALFORMED;
    }
    if (p.words && p.start > reach) return fault_of(c, F_BEYOND, p.start);
    if (p.words && p.words - 1 > reach - p.start) return fault_of(c, F_BEYOND, reach + 1);
    if (seconds && rail_refusal(c)) return rail_refusal(c);
    if (seconds) {
        p.used = 1;
        /* Longer than half the clock's turn is cut to that: the host asks again long before. */
        p.until = bd_now(&c->bd) + ms_ticks(1000u * (uint32_t)seconds);
    }
    c->permit[slot] = p;
    reply_begin(c);
    send8(c, slot);
    send16(c, seconds);
    send_end(c);
    return F_NONE;
}
