/* What a script takes, emits and lasts, found without running it. */
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

static uint32_t sum(uint32_t a, uint32_t b) {
    return a > FULL - b ? FULL : a + b;
}

static uint32_t product(uint32_t a, uint32_t b) {
    return a && b > FULL / a ? FULL : a * b;
}

static uint32_t us(uint32_t ns) {
    return (ns + 999) / 1000;
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

static uint32_t lasts(const bw_limits *l, const uint8_t *op, uint32_t n) {
    uint32_t own = 0;
    switch (op[0]) {
    case 0x50:
    case 0x51:
        own = sum(product(op_get(op + 6, 4), 1000), us(6 * l->cycle_ns + 2 * l->op_ns) + 2);
        break;
    case 0x52: own = sum(product(op_get(op + 1, 4), 1000), us(2 * l->op_ns) + 2); break;
    case 0x53: own = op_get(op + 1, 4); break;
    case 0x70: own = product(us((op[1] & 15) * l->cycle_ns + l->op_ns), n); break;
    default:
        if ((op[0] >= 0x30 && op[0] <= 0x39) || (op[0] >= 0x40 && op[0] <= 0x43))
            own = us(l->cycle_ns);
    }
    return own > FULL ? FULL : sum(own, us(l->op_ns));
}

static void take(row *r, const bw_limits *l, const uint8_t *op, uint16_t at, uint32_t n) {
    r->time = sum(r->time, lasts(l, op, n));
    r->emitted += op[0] == 0x44;
    if (op[0] == 0x60 || op[0] == 0x23 || op[0] == 0x38 || (op[0] == 0x50 && !(op[1] & 0x10)))
        touch(r, r->net + 1, at);
    if (op[0] == 0x23 || op[0] == 0x38 || op[0] == 0x46) r->net++;
    if (op[0] == 0x45) r->net--;
    touch(r, r->net, at);
}

/* Half of what fits, so that a few more never turn the sign. */
static int32_t far(int32_t from, uint32_t on) {
    uint32_t at = on > FULL / 2 ? FULL / 2 : on;
    return from > (int32_t)(FULL / 2) - (int32_t)at ? (int32_t)(FULL / 2) : from + (int32_t)at;
}

/* `body`, so often: turns only move on, so the first goes furthest back and the last furthest on. */
static void turn(row *outer, const row *body) {
    uint32_t net = (uint32_t)body->net;
    touch(outer, outer->net + body->least, body->least_at);
    touch(outer, far(outer->net, product(net, body->times - 1)) + body->most, body->most_at);
    outer->net = far(outer->net, product(net, body->times));
    outer->time = sum(outer->time, product(body->time, body->times));
    outer->emitted = sum(outer->emitted, product(body->emitted, body->times));
}

static void refuse(bw_need *need, uint8_t number, uint16_t at) {
    need->refused = number;
    need->at = at;
}

void script_measure(const bw_limits *l, const uint8_t *code, uint16_t length, uint32_t n,
                    bw_need *need) {
    row rows[5] = {{0}}, *r = rows;
    uint32_t atomic = 0, held = us(l->op_ns + 8 * l->cycle_ns), before = 0, span;
    uint32_t critical = 0;
    bool tidy = false;
    for (uint16_t at = 0; at < length; at = (uint16_t)(at + op_length(code[at]))) {
        const uint8_t *op = code + at;
        uint8_t lane = 0;
        if (op[0] == 0x39) lane = (uint8_t)(8u << op[1]);
        if (lane && lane < 32 && (n - 1) >> lane) {
            refuse(need, 26, at);
            return;
        }
        if (op[0] == 0x83 && op_get(op + 1, 4) > critical) critical = op_get(op + 1, 4);
        if (op[0] == 0x85) atomic = r->time;
        if (op[0] == 0x87) {
            before = r->time;
            tidy = true;
        }
        take(r, l, op, at, n);
        if (op[0] == 0x80 || op[0] == 0x81) {
            row fresh = {0};
            *++r = fresh;
            r->times = op[0] == 0x80 ? op_get(op + 1, 4) : n;
        } else if (op[0] == 0x82) {
            if (r->net < 0) {
                refuse(need, 25, at);
                return;
            }
            r--;
            turn(r, r + 1);
        } else if (op[0] == 0x86) {
            span = r->time - atomic;
            if (span > held) held = span;
            if (span > ATOMIC_US) {
                refuse(need, 17, at);
                return;
            }
        }
    }
    if (r->least < 0) {
        refuse(need, 24, r->least_at);
    } else if (r->most > r->net) {
        refuse(need, 24, r->most_at);
    } else if (r->time > LONGEST_US) {
        refuse(need, 27, 0);
    } else if (r->emitted > l->emitted) {
        refuse(need, 28, 0);
    }
    need->payload = r->net < (int32_t)(FULL / 2) ? (uint32_t)r->net : 0xFFFFFFFFu;
    need->emitted = r->emitted;
    span = sum(product(held, 2), tidy ? r->time - before : 0);
    need->stop_ms = sum(critical, (span + 999) / 1000);
}
