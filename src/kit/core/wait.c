/* Waits: each lane is judged for itself. */
#include "script.h"

enum { DATA, STATUS, TOGGLE };

static uint32_t lane_bits(uint8_t how, uint8_t lane) {
    uint8_t width = (uint8_t)(8u << (how & 3));
    return width == 32 ? 0xFFFFFFFFu : ((1ul << width) - 1) << lane * width;
}

uint8_t wait_begin(bw_core *c, const uint8_t *op) {
    bw_run *r = &c->run;
    uint32_t ones = run_ones(c);
    uint8_t lanes = (uint8_t)(4u >> (op[1] & 3));
    if (!env_width(c, r->shape)) return E_NO_SHAPE;
    r->how = op[1];
    r->fail = op_get(op + 2, 4);
    r->bits = 0xFFFFFFFFu;
    if (op[0] == 0x51) {
        r->want = op_get(op + 10, 4);
        r->bits = op_get(op + 14, 4);
    } else if (op[1] & 0x10) {
        r->want = 0xFFFFFFFFu;
    } else {
        r->want = env_payload(c, r->cursor);
    }
    r->bits &= ones;
    r->since = env_now(c);
    r->limit = ms_ticks(op_get(op + 6, 4));
    r->open = 0;
    for (uint8_t lane = 0; lane < 4; lane++) {
        r->lane[lane] = LANE_NONE;
        if (lane < lanes && lane_bits(r->how, lane) & ones & r->mask) r->open |= 1u << lane;
    }
    return E_GOOD;
}

void wait_give_up(bw_core *c) {
    for (uint8_t lane = 0; lane < 4; lane++)
        if (c->run.open >> lane & 1) c->run.lane[lane] = LANE_ABORTED;
}

static bool meets(const bw_run *r, uint32_t word, uint32_t bits) {
    return ((word ^ r->want) & r->bits & bits) == 0;
}

static bool fails(const bw_run *r, uint32_t word, uint32_t bits) {
    return (word & r->fail & bits) != 0;
}

static uint8_t judge_level(const bw_run *r, const uint32_t *read, uint32_t bits, bool over) {
    bool first = meets(r, read[0], bits), second = meets(r, read[1], bits);
    if (first && second) return LANE_DONE;
    if (!first && !second && fails(r, read[0], bits) && fails(r, read[1], bits)) return LANE_FAILED;
    if (!over) return LANE_NONE;
    if ((r->how >> 2 & 3) == DATA && !first && !second && ((read[0] ^ read[1]) & bits) == 0)
        return LANE_DIFFERENT;
    return LANE_TIMED_OUT;
}

static uint8_t judge_toggle(const bw_run *r, const uint32_t *read, uint32_t bits, bool over) {
    bool still1 = ((read[0] ^ read[1]) & bits) == 0, still2 = ((read[1] ^ read[2]) & bits) == 0;
    if (still1 && still2) return meets(r, read[2], bits) ? LANE_DONE : LANE_DIFFERENT;
    if (!still1 && !still2 && fails(r, read[1], bits) && fails(r, read[2], bits))
        return LANE_FAILED;
    return over ? LANE_TIMED_OUT : LANE_NONE;
}

static uint8_t verdict(const bw_run *r) {
    uint8_t why = E_GOOD;
    for (uint8_t lane = 0; lane < 4; lane++) {
        if (r->lane[lane] == LANE_FAILED || r->lane[lane] == LANE_DIFFERENT) return E_WAIT_FAILED;
        if (r->lane[lane] == LANE_TIMED_OUT) why = E_TIMED_OUT;
    }
    return why;
}

uint8_t wait_poll(bw_core *c, bool *more) {
    bw_run *r = &c->run;
    bool over = env_now(c) - r->since >= r->limit, toggles = (r->how >> 2 & 3) == TOGGLE;
    bool again = over;
    uint32_t read[3], address = r->how & 0x20 ? r->b : r->a;
    uint8_t made = toggles ? 2 : 1, why, lane;
    for (lane = 0; lane < made; lane++) {
        why = run_read(c, address, &read[lane]);
        if (why) return why;
        r->d = read[lane];
    }
    for (lane = 0; lane < 4; lane++) {
        uint32_t bits = lane_bits(r->how, lane & 3);
        if (!(r->open >> lane & 1)) continue;
        if (toggles) {
            again |= ((read[0] ^ read[1]) & bits) == 0 || fails(r, read[1], bits);
        } else {
            again |= meets(r, read[0], bits) || fails(r, read[0], bits);
        }
    }
    if (again) {
        why = run_read(c, address, &read[made]);
        if (why) return why;
        r->d = read[made];
        for (lane = 0; lane < 4; lane++) {
            uint32_t bits = lane_bits(r->how, lane);
            uint8_t result;
            if (!(r->open >> lane & 1)) continue;
            result = toggles ? judge_toggle(r, read, bits, over) : judge_level(r, read, bits, over);
            if (result == LANE_NONE) continue;
            r->lane[lane] = result;
            r->open &= (uint8_t)~(1u << lane);
        }
    }
    if (r->open == 0) return verdict(r);
    *more = true;
    env_pass(c, BD_TICKS);
    return E_GOOD;
}

uint8_t ready_poll(bw_core *c, bool *more) {
    bw_run *r = &c->run;
    bool over = env_now(c) - r->since >= r->limit;
    if (env_ready(c)) return E_GOOD;
    if (over) return E_TIMED_OUT;
    *more = true;
    env_pass(c, BD_TICKS);
    return E_GOOD;
}
