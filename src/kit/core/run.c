/* The interpreter of docs/script.md. A step is one unit of work: an operation, or one poll or
 * address of a long one; between two steps a run can be stopped or cut off. */
#include "script.h"

enum { NO, DELAY, READY, POLL, SWEEP };

uint32_t run_ones(bw_core *c) {
    uint8_t width = env_width(c, c->run.shape);
    return width == 1 ? 0xFF : width == 2 ? 0xFFFF : 0xFFFFFFFF;
}

/* What a run needs to know of the text before it begins: where `finally` stands, and the shapes that
 * it writes with. */
void run_look(bw_core *c) {
    bw_run *r = &c->run;
    uint8_t shape = 0;
    r->finally = 0;
    r->writes = 0;
    for (uint16_t at = 0; at < r->length; at = (uint16_t)(at + op_length(r->code[at]))) {
        uint8_t op = r->code[at];
        if (op == 0x10) shape = r->code[at + 1];
        if (op == 0x87) r->finally = (uint16_t)(at + 1);
        if ((op >= 0x30 && op <= 0x39) || (op == 0x70 && r->code[at + 2]))
            r->writes |= (uint16_t)(1u << shape);
    }
}

void run_begin(bw_core *c) {
    bw_run *r = &c->run;
    r->at = r->cursor = r->end_at = 0;
    r->rest = r->d = 0;
    r->shape = r->has_rest = r->depth = r->busy = r->atomic = r->tidying = r->critical = 0;
    r->first = 1;
    r->judged = r->ended = r->asked = r->verdict = 0;
#ifdef BD_QUICK
    r->quick = 0;
#endif
    for (uint8_t n = 0; n < 4; n++) r->lane[n] = LANE_NONE;
    r->began = r->seen = env_now(c);
#ifdef BD_QUICK
    r->row.lead = 0;
    quick_whole(c);
#endif
}

void run_stop(bw_core *c, uint8_t why) {
    if (!c->run.asked) c->run.asked = why;
}

/* Where and why it ends; the first reason counts. */
static void judge(bw_run *r, uint8_t why) {
    if (r->judged) return;
    r->judged = 1;
    r->verdict = why;
    r->end_at = r->at;
}

static void finish(bw_core *c) {
    bw_run *r = &c->run;
    judge(r, E_GOOD);
    r->ended = 1;
}

void run_lose_power(bw_core *c) {
    bw_run *r = &c->run;
    if (r->ended) return;
    if (r->busy == POLL) wait_give_up(c);
#ifdef BD_QUICK
    r->quick = 0;
#endif
    judge(r, E_POWER_LOST);
    r->verdict = E_POWER_LOST;
    r->ended = 1;
}

/* The main part ends; after `finally` what goes wrong is noted and left out. */
static void end(bw_core *c, uint8_t why) {
    bw_run *r = &c->run;
    judge(r, why);
    if (r->tidying) {
        r->busy = NO;
        r->at = (uint16_t)(r->at + op_length(r->code[r->at]));
        return;
    }
    if (r->busy == POLL) wait_give_up(c);
    r->busy = NO;
    r->critical = r->atomic = r->depth = 0;
#ifdef BD_QUICK
    r->quick = 0;
#endif
    if (r->finally) {
        r->at = r->finally;
        r->tidying = 1;
    } else {
        r->ended = 1;
    }
}

uint8_t run_read(bw_core *c, uint32_t address, uint32_t *word) {
    if (!env_powered(c)) return E_POWER_LOST;
    if (!env_width(c, c->run.shape)) return E_NO_SHAPE;
    *word = env_read(c, c->run.shape, address);
    return E_GOOD;
}

uint8_t run_write(bw_core *c, uint32_t address, uint32_t value) {
    bw_run *r = &c->run;
    uint32_t ones = run_ones(c), lanes = r->mask & ones;
    if (!env_powered(c)) return E_POWER_LOST;
    if (!env_width(c, r->shape)) return E_NO_SHAPE;
    if (!env_writes(c, r->shape)) return E_READ_ONLY;
    if (lanes == 0) return E_PARTIAL;
    if (lanes == ones) {
        value &= ones;
    } else {
        uint8_t rule = env_rule(c, r->shape);
        if (rule == RULE_WHOLE || (rule == RULE_REST && !r->has_rest)) return E_PARTIAL;
        value = (value & lanes) | ((r->has_rest ? r->rest : ones) & ones & ~lanes);
    }
    if (!env_may_write(c, r->shape, address, lanes)) return E_NOT_PERMITTED;
    env_write(c, r->shape, address, value, lanes);
    return E_GOOD;
}

static void turn(bw_run *r) {
    uint8_t top = (uint8_t)(r->depth - 1);
    if (r->loop_left[top] > 1) {
        r->loop_left[top]--;
        r->at = r->loop_at[top];
    } else {
        r->depth = top;
        r->at++;
#ifdef BD_QUICK
        if (r->quick > top) r->quick = 0;
#endif
    }
}

/* Past a skip and the `count` operations after it. */
static void skip(bw_run *r, uint8_t count) {
    for (uint16_t left = (uint16_t)(count + 1); left; left--)
        r->at = (uint16_t)(r->at + op_length(r->code[r->at]));
}

/* A long operation begins. */
static uint8_t busy(bw_run *r, uint8_t what, uint8_t why, bool *more) {
    if (why == E_GOOD) {
        r->busy = what;
        *more = true;
    }
    return why;
}

/* Executes the operation at `at`; `more` if `at` is not to be moved on. */
BW_HOT uint8_t operate(bw_core *c, const uint8_t *op, bool *more) {
    bw_run *r = &c->run;
    uint32_t us;
    switch (op[0]) {
    case 0x10:
        if (!env_width(c, op[1])) return E_NO_SHAPE;
        r->shape = op[1];
        return E_GOOD;
    case 0x11: r->mask = op_get(op + 1, 4); return E_GOOD;
    case 0x12:
        r->rest = op_get(op + 1, 4);
        r->has_rest = 1;
        return E_GOOD;
    case 0x20: r->a = op_get(op + 1, 2); return E_GOOD;
    case 0x21: r->a = op_get(op + 1, 4); return E_GOOD;
    case 0x22: r->a = r->b; return E_GOOD;
    case 0x23: r->a = env_payload(c, r->cursor++); return E_GOOD;
    case 0x24: r->a += (uint32_t)(int32_t)(int16_t)op_get(op + 1, 2); return E_GOOD;
    case 0x30: return run_write(c, op_get(op + 3, 2), op_get(op + 1, 2));
    case 0x31: return run_write(c, op_get(op + 3, 4), op_get(op + 1, 2));
    case 0x32: return run_write(c, op_get(op + 5, 2), op_get(op + 1, 4));
    case 0x33: return run_write(c, op_get(op + 5, 4), op_get(op + 1, 4));
    case 0x34: return run_write(c, r->a, op_get(op + 1, 2));
    case 0x35: return run_write(c, r->b, op_get(op + 1, 2));
    case 0x36: return run_write(c, r->a, op_get(op + 1, 4));
    case 0x37: return run_write(c, r->b, op_get(op + 1, 4));
    case 0x38: return run_write(c, r->a, env_payload(c, r->cursor++));
    case 0x39:
        us = r->n - 1;
        if (op[1] == 0) us = (us & 0xFF) * 0x01010101u;
        if (op[1] == 1) us = (us & 0xFFFF) * 0x00010001u;
        return run_write(c, r->b, us);
    case 0x40: return run_read(c, op_get(op + 1, 2), &r->d);
    case 0x41: return run_read(c, op_get(op + 1, 4), &r->d);
    case 0x42: return run_read(c, r->a, &r->d);
    case 0x43: return run_read(c, r->b, &r->d);
    case 0x44: {
        uint8_t *to = r->kept->pool + 4 * r->kept->emitted++;
        for (uint8_t n = 0; n < 4; n++) to[n] = (uint8_t)(r->d >> 8 * n);
        return E_GOOD;
    }
    case 0x45: r->cursor--; return E_GOOD;
    case 0x46: r->cursor++; return E_GOOD;
    case 0x50:
    case 0x51: return busy(r, POLL, wait_begin(c, op), more);
    case 0x52:
        r->since = env_now(c);
        r->limit = ms_ticks(op_get(op + 1, 4));
        return busy(r, READY, E_GOOD, more);
    case 0x53:
        us = op_get(op + 1, 4);
        r->wake = env_now(c) + (us > 0x7FFFFFFFu / BD_TICKS ? 0x7FFFFFFFu : us * BD_TICKS);
        return busy(r, DELAY, E_GOOD, more);
    case 0x60:
        if (env_payload(c, r->cursor) == op_get(op + 2, 4)) break;
        return E_GOOD;
    case 0x61:
        if ((r->d & op_get(op + 2, 4)) == op_get(op + 6, 4)) break;
        return E_GOOD;
    case 0x70: return busy(r, SWEEP, sweep_begin(c, op), more);
    case 0x80:
    case 0x81:
        r->loop_at[r->depth] = (uint16_t)(r->at + op_length(op[0]));
        r->loop_left[r->depth++] = op[0] == 0x80 ? op_get(op + 1, 4) : r->n;
#ifdef BD_QUICK
        quick_begin(c);
#endif
        return E_GOOD;
    case 0x82:
        turn(r);
        *more = true; /* it has moved on by itself */
        return E_GOOD;
    case 0x83:
        r->critical = 1;
        r->critical_end = env_now(c) + ms_ticks(op_get(op + 1, 4));
        return E_GOOD;
    case 0x84: r->critical = 0; return E_GOOD;
    case 0x85: r->atomic = 1; return E_GOOD;
    case 0x86: r->atomic = 0; return E_GOOD;
    case 0x87: r->tidying = 1; return E_GOOD;
    default:
#ifdef BD_QUICK
        r->row.there = 0; /* a control line may move */
#endif
        return env_line(c, op[1], op[0] == 0x90);
    }
    skip(r, op[1]);
    *more = true;
    return E_GOOD;
}

static uint8_t delay(bw_core *c, bool *more) {
    bw_run *r = &c->run;
    int32_t left = (int32_t)(r->wake - env_now(c));
    if (left > 0) {
        if (!r->atomic) {
            *more = true;
            return E_GOOD;
        }
        env_pass(c, (uint32_t)left);
    }
    return E_GOOD;
}

/* One unit, and what it was: STEP_WAITS if nothing was done, STEP_SHORT if it took no time. */
BW_HOT uint8_t unit(bw_core *c) {
    bw_run *r = &c->run;
    const uint8_t *op = r->code + r->at;
    bool more = false;
    uint8_t why, was = r->busy, step = STEP_MORE;
    if (r->at >= r->length && !r->busy) {
        finish(c);
        return step;
    }
    switch (r->busy) {
    case NO:
#ifdef BD_QUICK
        if (r->quick && r->quick == r->depth && r->at == r->loop_at[r->depth - 1]) {
            why = E_GOOD;
            more = true;
            if (quick_turns(c, &why)) r->busy = POLL;
            break;
        }
#endif
        why = operate(c, op, &more);
        if (!r->busy) step = STEP_SHORT;
        r->first = 0;
        if (why == E_GOOD && !more) r->at = (uint16_t)(r->at + op_length(op[0]));
        break;
    case DELAY: why = delay(c, &more); break;
    case READY: why = ready_poll(c, &more); break;
    case POLL: why = wait_poll(c, &more); break;
    default: why = sweep_address(c, op, &more); break;
    }
    r->seen = env_now(c);
    if (why == E_POWER_LOST) {
        run_lose_power(c);
    } else if (why != E_GOOD) {
        end(c, why);
    } else if (was != NO && !more) {
        r->busy = NO;
        r->at = (uint16_t)(r->at + op_length(op[0]));
    }
    return was == DELAY && more ? STEP_WAITS : step;
}

static bool safe(const bw_run *r) {
    bool held = r->critical && (int32_t)(r->seen - r->critical_end) < 0;
    return !held && !r->atomic && !r->tidying && !r->first;
}

/* Nothing is left of the main part. */
static bool through(const bw_run *r) {
    return !r->busy && (r->at >= r->length || r->code[r->at] == 0x87);
}

uint8_t run_step(bw_core *c) {
    bw_run *r = &c->run;
    uint8_t step = STEP_MORE;
    bool atomic = false;
    do {
        if (r->asked || !env_powered(c)) r->seen = env_now(c);
        if (!env_powered(c)) {
            run_lose_power(c);
        } else if (r->asked && safe(r) && !through(r)) {
            end(c, r->asked);
        } else {
            step = unit(c);
        }
        atomic |= r->atomic;
    } while (r->atomic && !r->ended);
    if (r->ended) return STEP_DONE;
    /* What ends a stretch is short; the stretch was not. */
    return step == STEP_SHORT && atomic ? STEP_MORE : step;
}
