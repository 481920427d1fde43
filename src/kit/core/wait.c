/* Waits: each lane is judged for itself. */
#include <string.h>

#include "script.h"

enum { DATA, STATUS, TOGGLE };

/* The lanes in which a word has a line that is not 0. */
static uint8_t lanes_of(const bw_waiting *w, uint32_t word) {
    uint8_t lanes = 0;
    for (uint8_t n = 0; n < 4; n++, word >>= 8)
        if ((uint8_t)word) lanes |= (uint8_t)(1u << (n >> (w->how & 3)));
    return lanes;
}

uint8_t wait_begin(bw_core *c, const uint8_t *op) {
    const bw_run *r = BW_NEAR(&c->run);
    bw_waiting *w = BW_NEAR(&c->run.wait);
    uint32_t ones = run_ones(c), bits = ones;
    if (!env_width(c, r->shape)) return E_NO_SHAPE;
    w->how = op[1];
    w->fail = op_long(op + 2);
    if (op[0] == 0x51) {
        w->want = op_long(op + 10);
        bits &= op_long(op + 14);
    } else if (op[1] & 0x10) {
        w->want = 0xFFFFFFFFu;
    } else {
        w->want = env_payload(c, r->cursor);
    }
    w->bits = bits;
    w->since = env_now(c);
    w->limit = ms_ticks(op_long(op + 6));
    memset(w->lane, LANE_NONE, 4);
    w->open = lanes_of(w, r->mask & ones);
    return E_GOOD;
}

void wait_give_up(bw_core *c) {
    bw_waiting *w = BW_NEAR(&c->run.wait);
    for (uint8_t lane = 0; lane < 4; lane++)
        if (w->open >> lane & 1) w->lane[lane] = LANE_ABORTED;
}

static uint8_t unmet(bw_core *c) {
    const bw_waiting *w = BW_NEAR(&c->run.wait);
    return lanes_of(w, (c->run.d ^ w->want) & w->bits);
}

static uint8_t failing(bw_core *c) {
    const bw_waiting *w = BW_NEAR(&c->run.wait);
    return lanes_of(w, c->run.d & w->fail);
}

static BW_HERE uint8_t verdict(const bw_waiting *w) {
    uint8_t why = E_GOOD;
    for (uint8_t lane = 0; lane < 4; lane++) {
        if (w->lane[lane] == LANE_FAILED || w->lane[lane] == LANE_DIFFERENT) return E_WAIT_FAILED;
        if (w->lane[lane] == LANE_TIMED_OUT) why = E_TIMED_OUT;
    }
    return why;
}

/* The time-out is over. */
static bool late(bw_core *c) {
    const bw_waiting *w = BW_NEAR(&c->run.wait);
    return env_now(c) - w->since >= w->limit;
}

/* A bit for each lane in all of these. */
uint8_t wait_poll(bw_core *c, bool *more) {
    const bw_run *r = BW_NEAR(&c->run);
    bw_waiting *w = BW_NEAR(&c->run.wait);
    bool over = late(c);
    uint32_t address = w->how & 0x20 ? r->b : r->a, before;
    uint8_t kind = w->how >> 2 & 3, why, lane, bit, missed, fail, moved = 0, done, failed, different;
    why = run_read(c, address);
    if (why) return why;
    before = r->d;
    if (kind == TOGGLE) {
        why = run_read(c, address);
        if (why) return why;
        moved = lanes_of(w, before ^ r->d);
        before = r->d;
    }
    missed = unmet(c);
    fail = failing(c);
    if (over || w->open & (uint8_t)(~(kind == TOGGLE ? moved : missed) | fail)) {
        uint8_t now;
        why = run_read(c, address);
        if (why) return why;
        now = lanes_of(w, before ^ r->d);
        fail &= failing(c);
        if (kind == TOGGLE) {
            different = (uint8_t)~(moved | now); /* it stands still */
            done = different & (uint8_t)~unmet(c);
            failed = moved & now & fail;
        } else {
            done = (uint8_t)~(missed | unmet(c));
            missed &= unmet(c);
            failed = missed & fail;
            different = over && kind == DATA ? missed & (uint8_t)~now : 0;
        }
        for (lane = 0, bit = 1; lane < 4; lane++, bit <<= 1) {
            uint8_t result = done & bit        ? LANE_DONE
                             : failed & bit    ? LANE_FAILED
                             : different & bit ? LANE_DIFFERENT
                             : over            ? LANE_TIMED_OUT
                                               : LANE_NONE;
            if (!(w->open & bit) || result == LANE_NONE) continue;
            w->lane[lane] = result;
            w->open ^= bit;
        }
    }
    if (w->open == 0) return verdict(w);
    *more = true;
    env_pass(c, BD_TICKS);
    return E_GOOD;
}

BW_HERE uint8_t ready_poll(bw_core *c, bool *more) {
    bool over = late(c);
    if (env_ready(c)) return E_GOOD;
    if (over) return E_TIMED_OUT;
    *more = true;
    env_pass(c, BD_TICKS);
    return E_GOOD;
}
