/* The interpreter of docs/script.md. A step is one unit of work: an operation, or one poll or
 * address of a long one; between two steps a run can be stopped or cut off. */
#include <stddef.h>
#include <string.h>

#include "script.h"

enum { NO, DELAY, READY, POLL, SWEEP };

uint32_t run_ones(bw_core *c) {
    return ones_of(env_width(c, c->run.shape));
}

/* What a run needs to know of the text before it begins: where `finally` stands, and the shapes that
 * it writes with. */
BW_HERE void run_look(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t shape = 0;
    r->looked = r->slot + 1;
    r->finally = r->writes = 0;
    for (uint16_t at = 0; at < r->length; at += op_length(r->code[at])) {
        const uint8_t *op = r->code + at;
        if (op[0] == 0x10) shape = op[1];
        if (op[0] == 0x87) r->finally = at + 1;
        if ((op[0] >= 0x30 && op[0] <= 0x39) || (op[0] == 0x70 && op[2]))
            r->writes |= (uint16_t)(1u << shape);
    }
}

BW_HERE void run_begin(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    /* All from `at` up to `wake`. */
    memset(&r->at, 0, offsetof(bw_run, wake) - offsetof(bw_run, at));
    r->first = 1;
    r->began = r->seen = env_now(c);
#ifdef BD_QUICK
    r->row.lead = 0;
    quick_whole(c);
#endif
}

BW_HERE void run_stop(bw_core *c, uint8_t why) {
    if (!c->run.asked) c->run.asked = why;
}

/* Where and why it ends; the first reason counts. */
static void judge(bw_run *r, uint8_t why) {
    if (r->judged) return;
    r->judged = 1;
    r->verdict = why;
    r->end_at = r->at;
}

static BW_HERE void finish(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    judge(r, E_GOOD);
    r->ended = 1;
}

void run_lose_power(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
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
    bw_run *r = BW_NEAR(&c->run);
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

uint8_t run_read(bw_core *c, uint32_t address) {
    bw_run *r = BW_NEAR(&c->run);
    if (!env_powered(c)) return E_POWER_LOST;
    if (!env_width(c, r->shape)) return E_NO_SHAPE;
    r->d = env_read(c, r->shape, address);
    return E_GOOD;
}

uint8_t run_write(bw_core *c, uint32_t address, uint32_t value) {
    bw_run *r = BW_NEAR(&c->run);
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

uint32_t *run_turns(bw_run *r) {
    return &r->loop_left[r->depth - 1];
}

static BW_HERE void turn(bw_run *r) {
    uint8_t top = (uint8_t)(r->depth - 1);
    uint32_t *left = run_turns(r);
    if (*left > 1) {
        --*left;
        r->at = r->loop_at[top];
    } else {
        r->depth = top;
        r->at++;
#ifdef BD_QUICK
        if (r->quick > top) r->quick = 0;
#endif
    }
}

uint16_t run_past(const bw_run *r, uint16_t at, uint8_t count) {
    do {
        at += op_length(r->code[at]);
    } while (count--);
    return at;
}

/* Past a skip and the operations after it. */
static BW_HERE void skip(bw_run *r, uint8_t count) {
    r->at = run_past(r, r->at, count);
}

/* A long operation begins. */
static BW_HERE uint8_t busy(bw_run *r, uint8_t what, uint8_t why, bool *more) {
    if (why == E_GOOD) {
        r->busy = what;
        *more = true;
    }
    return why;
}

/* N - 1 in every lane. */
static BW_HERE uint32_t count(const bw_run *r, uint8_t lane) {
    uint32_t value = r->n - 1;
    if (lane == 0) value = (value & 0xFF) * 0x01010101u;
    if (lane == 1) value = (value & 0xFFFF) * 0x00010001u;
    return value;
}

static uint32_t taken(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    return env_payload(c, r->cursor++);
}

/* 30 to 37: value and address of two or four bytes, or at A or B. */
static BW_HERE uint8_t write(bw_core *c, const uint8_t *op) {
    const bw_run *r = BW_NEAR(&c->run);
    uint8_t bytes = op[0] & 2 ? 4 : 2;
    uint32_t address;
    if (op[0] & 4) {
        address = op[0] & 1 ? r->b : r->a;
    } else {
        address = op_get(op + 1 + bytes, op[0] & 1 ? 4 : 2);
    }
    return run_write(c, address, op_get(op + 1, bytes));
}

/* Executes the operation at `at`; `more` if `at` is not to be moved on. */
static uint8_t operate(bw_core *c, const uint8_t *op, uint8_t which, uint8_t length,
                               bool *more) {
    bw_run *r = BW_NEAR(&c->run);
    uint32_t number = op_get(op + 1, length > 4 ? 4 : (uint8_t)(length - 1)); /* its first operand */
    switch (which) {
    case OP_SHAPE:
        if (!env_width(c, op[1])) return E_NO_SHAPE;
        r->shape = op[1];
        break;
    case OP_LANES: r->mask = number; break;
    case OP_REST:
        r->rest = number;
        r->has_rest = 1;
        break;
    case OP_A_2:
    case OP_A_4: r->a = number; break;
    case OP_A_FROM_B: r->a = r->b; break;
    case OP_A_FROM_PAYLOAD: r->a = taken(c); break;
    case OP_STEP: r->a += (uint32_t)(int32_t)(int16_t)number; break;
    case OP_WRITE_PAYLOAD: return run_write(c, r->a, taken(c));
    case OP_WRITE_COUNT: return run_write(c, r->b, count(r, op[1]));
    case OP_READ_2:
    case OP_READ_4: return run_read(c, number);
    case OP_READ_A: return run_read(c, r->a);
    case OP_READ_B: return run_read(c, r->b);
    case OP_EMIT: op_put(r->kept->pool + 4 * r->kept->emitted++, r->d); break;
    case OP_PREVIOUS: r->cursor--; break;
    case OP_NEXT: r->cursor++; break;
    case OP_WAIT:
    case OP_WAIT_VALUE: return busy(r, POLL, wait_begin(c, op), more);
    case OP_READY:
        r->wait.since = env_now(c);
        r->wait.limit = ms_ticks(number);
        return busy(r, READY, E_GOOD, more);
    case OP_DELAY:
        r->wake = env_now(c) + us_ticks(number);
        return busy(r, DELAY, E_GOOD, more);
    case OP_SKIP_IF_PAYLOAD:
        if (env_payload(c, r->cursor) != op_long(op + 2)) break;
        skip(r, op[1]);
        *more = true;
        break;
    case OP_SKIP_IF_D:
        if ((r->d & op_long(op + 2)) != op_long(op + 6)) break;
        skip(r, op[1]);
        *more = true;
        break;
    case OP_SWEEP: return busy(r, SWEEP, sweep_begin(c, op), more);
    case OP_LOOP_N: number = r->n; /* falls through */
    case OP_LOOP_TIMES:
        r->loop_at[r->depth] = r->at + length;
        r->loop_left[r->depth++] = number;
#ifdef BD_QUICK
        quick_begin(c);
#endif
        break;
    case OP_END_LOOP:
        turn(r);
        *more = true; /* it has moved on by itself */
        break;
    case OP_CRITICAL_BEGINS:
        r->critical = 1;
        r->critical_end = ms_ahead(c, number);
        break;
    case OP_END_CRITICAL: r->critical = 0; break;
    case OP_ATOMIC_BEGINS: r->atomic = 1; break;
    case OP_END_ATOMIC: r->atomic = 0; break;
    case OP_FINALLY: r->tidying = 1; break;
    case OP_SET_LINE:
    case OP_CLEAR_LINE:
#ifdef BD_QUICK
        r->row.there = 0; /* a control line may move */
#endif
        return env_line(c, op[1], which == OP_SET_LINE);
    default: return write(c, op);
    }
    return E_GOOD;
}

static BW_HERE uint8_t delay(bw_core *c, bool *more) {
    bw_run *r = BW_NEAR(&c->run);
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
static BW_HERE uint8_t unit(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    const uint8_t *op = r->code + r->at;
    bool more = false;
    uint8_t why, was = r->busy, which, length, step = STEP_MORE;
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
        which = op_which(op[0]);
        length = op_bytes(which);
        why = operate(c, op, which, length, &more);
        if (!r->busy) step = STEP_SHORT;
        r->first = 0;
        if (why == E_GOOD && !more) r->at += length;
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

static BW_HERE bool safe(const bw_run *r) {
    bool held = r->critical && (int32_t)(r->seen - r->critical_end) < 0;
    return !held && !r->atomic && !r->tidying && !r->first;
}

/* Nothing is left of the main part. */
static BW_HERE bool through(const bw_run *r) {
    return !r->busy && (r->at >= r->length || r->code[r->at] == 0x87);
}

uint8_t run_step(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
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
            if (r->atomic && !r->busy) stretch_run(c);
        }
        atomic |= r->atomic;
    } while (r->atomic && !r->ended);
    if (r->ended) return STEP_DONE;
    /* What ends a stretch is short; the stretch was not. */
    return step == STEP_SHORT && atomic ? STEP_MORE : step;
}
