/* What a script takes, emits and lasts, found without running it. */
#include <string.h>

#include "script.h"

/* Times are whole microseconds, each piece rounded up: 64-bit arithmetic would be the largest part of
 * the firmware of a small controller. What is more than this counts as this. */
#define FULL 0x7FFFFFFFu
#define LONGEST_US 600000000u
#define ATOMIC_US 20000u

/* A row of operations. The cursor counts from its place at the row's start. */
typedef struct {
    uint32_t time, emitted;
    int32_t net, least, most; /* words from `least` to `most` are touched */
    uint16_t least_at, most_at;
    uint32_t times; /* of the loop that this row is in */
} row;

enum { AT_START = 1, LATER };

/* Seen through a pointer, the rows last: so is everything near for a small controller. */
typedef struct {
    const bw_limits *l;
    uint32_t n, critical;  /* ms */
    uint32_t atomic, held; /* when it began; the longest */
    uint32_t before;       /* when `finally` began */
    uint8_t within;        /* an atomic stretch: at its start, or later */
    row *r;                /* the innermost loop's */
    row rows[5];
} measuring;

static uint32_t sum(uint32_t a, uint32_t b) {
    return a > FULL - b ? FULL : a + b;
}

static uint32_t product(uint32_t a, uint32_t b) {
    return a && b > FULL / a ? FULL : a * b;
}

static uint32_t thousands(uint32_t n) {
    return (n + 999) / 1000;
}

static void add(uint32_t *to, uint32_t by) {
    *to = sum(*to, by);
}

static BW_HERE void longest(uint32_t *of, uint32_t other) {
    if (other > *of) *of = other;
}

static void touch(row *r, int32_t at, uint16_t op) {
    if (at < r->least) {
        r->least = at;
        r->least_at = op;
    }
    if (at > r->most) {
        r->most = at;
        r->most_at = op;
    }
}

/* The time of so many cycles and operations. */
static uint32_t us(const measuring *m, uint8_t cycles, uint8_t operations) {
    return thousands(cycles * m->l->cycle_ns + operations * m->l->op_ns);
}

/* What stretch.c makes. A loop that begins a stretch is not among it. */
static BW_HERE bool quick(const measuring *m, uint8_t code) {
    if (!m->within) return false;
    if (code >= 0x80 && code <= 0x82) return m->within != AT_START;
    return code == 0x60 || code == 0x61 ||
           (code >= 0x20 && code <= 0x46 && code != 0x39);
}

static void lasts(measuring *m, const uint8_t *op, uint8_t is) {
    uint8_t cycles = is & OP_CYCLE ? 1 : 0, operations = 0, ms_at = 0;
    uint32_t own = 0, times = 1;
    if (quick(m, op[0])) {
        own = m->l->atomic_op_ns;
        if (cycles) own += m->l->atomic_cycle_ns;
        add(&m->r->time, thousands(own));
        return;
    }
    switch (op[0]) {
    case 0x50:
    case 0x51:
        cycles = 6;
        ms_at = 6;
        break;
    case 0x52: ms_at = 1; break;
    case 0x53:
        own = op_long(op + 1);
        if (own > FULL) own = FULL;
        break;
    case 0x70:
        cycles = op[1] & 15;
        operations = 1;
        times = m->n;
    }
    if (ms_at) {
        own = sum(product(op_long(op + ms_at), 1000), 2); /* the time-out, and two pauses */
        operations = 2;
    }
    add(&m->r->time, own);
    add(&m->r->time, product(us(m, cycles, operations), times));
    add(&m->r->time, us(m, 0, 1));
}

static BW_HERE void take(measuring *m, const uint8_t *op, uint16_t at) {
    row *r = m->r;
    uint8_t is = op_is(op[0]);
    lasts(m, op, is);
    if (op[0] == 0x44) r->emitted++;
    if (is & OP_LOOKS && !(op[0] == 0x50 && op[1] & 0x10)) touch(r, r->net + 1, at);
    r->net += op_moves(is);
    touch(r, r->net, at);
}

/* Half of what fits, so that a few more never turn the sign. */
static BW_HERE int32_t far(int32_t from, uint32_t on) {
    const int32_t most = (int32_t)(FULL / 2);
    if (on > FULL / 2) return most;
    from += (int32_t)on;
    return from > most ? most : from;
}

/* `body`, so often: turns only move on, so the first goes furthest back and the last furthest on. */
static void turn(row *outer, const row *body) {
    touch(outer, outer->net + body->least, body->least_at);
    outer->net = far(outer->net, product((uint32_t)body->net, body->times));
    touch(outer, outer->net - body->net + body->most, body->most_at);
    add(&outer->time, product(body->time, body->times));
    add(&outer->emitted, product(body->emitted, body->times));
}

/* The next operation; blocks are whole and nested, so much is known. */
static BW_HERE uint8_t one(measuring *m, const uint8_t *op, uint16_t at) {
    uint32_t span;
    if (op[0] == 0x39 && op[1] < 2 && (m->n - 1) >> (8u << op[1])) return 26;
    if (op[0] == 0x85) m->atomic = m->r->time;
    if (op[0] == 0x87) m->before = m->r->time;
    take(m, op, at);
    if (m->within) m->within = LATER;
    if (op[0] == 0x85) m->within = AT_START;
    if (op[0] == 0x86) m->within = 0;
    switch (op[0]) {
    case 0x80:
    case 0x81:
        memset(++m->r, 0, sizeof *m->r);
        m->r->times = op[0] == 0x80 ? op_long(op + 1) : m->n;
        break;
    case 0x82:
        if (m->r->net < 0) return 25;
        m->r--;
        turn(m->r, m->r + 1);
        break;
    case 0x83:
        longest(&m->critical, op_long(op + 1));
        break;
    case 0x86:
        span = m->r->time - m->atomic;
        longest(&m->held, span);
        if (span > ATOMIC_US) return 17;
    }
    return 0;
}

static BW_HERE uint8_t judge(measuring *m, bw_need *need) {
    const row *r = m->rows;
    uint32_t span;
    need->payload = r->net < (int32_t)(FULL / 2) ? (uint32_t)r->net : 0xFFFFFFFFu;
    need->emitted = r->emitted;
    span = product(m->held, 2);
    if (m->before <= r->time) span = sum(span, r->time - m->before);
    need->stop_ms = sum(m->critical, thousands(span));
    need->at = 0;
    if (r->least < 0) {
        need->at = r->least_at;
        return 24;
    }
    if (r->most > r->net) {
        need->at = r->most_at;
        return 24;
    }
    if (r->time > LONGEST_US) return 27;
    return r->emitted > m->l->emitted ? 28 : 0;
}

void script_measure(const bw_limits *l, const uint8_t *code, uint16_t length, uint32_t n,
                    bw_need *need) {
    measuring m = {0};
    m.l = l;
    m.n = n;
    m.r = m.rows;
    m.held = us(&m, 8, 1);
    m.before = 0xFFFFFFFFu;
    for (uint16_t at = 0; at < length; at += op_length(code[at])) {
        need->at = at;
        need->refused = one(&m, code + at, at);
        if (need->refused) return;
    }
    need->refused = judge(&m, need);
}
