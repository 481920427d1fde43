/* What a script takes, emits and lasts, found without running it. */
#include "script.h"

/* Everything above counts as this: more than the longest run in ns, and than any payload. */
#define FULL ((uint64_t)1 << 40)
#define LONGEST_NS 600000000000u
#define ATOMIC_NS 20000000u
#define PAUSE_NS 1000u

/* A row of operations. The cursor counts from its place at the row's start. */
typedef struct {
    uint64_t time, emitted;
    int64_t net, least, most; /* words from `least` to `most` are touched */
    uint16_t least_at, most_at;
    uint32_t times; /* of the loop that this row is in */
} row;

static uint64_t most(uint64_t value) {
    return value > FULL ? FULL : value;
}

static uint64_t product(uint64_t a, uint32_t b) {
    if (a >> 32 && b >> 8) return FULL;
    return most(a * b);
}

static void touch(row *r, int64_t at, uint16_t op) {
    if (at < r->least) {
        r->least = at;
        r->least_at = op;
    }
    if (at > r->most) {
        r->most = at;
        r->most_at = op;
    }
}

static uint64_t lasts(const bw_limits *l, const uint8_t *op, uint32_t n) {
    uint64_t own = 0;
    switch (op[0]) {
    case 0x50:
    case 0x51:
        own = (uint64_t)op_get(op + 6, 4) * 1000000u + 2 * (3 * l->cycle_ns + PAUSE_NS + l->op_ns);
        break;
    case 0x52: own = (uint64_t)op_get(op + 1, 4) * 1000000u + 2 * (PAUSE_NS + l->op_ns); break;
    case 0x53: own = (uint64_t)op_get(op + 1, 4) * 1000u; break;
    case 0x70: own = product((uint64_t)(op[1] & 15) * l->cycle_ns + l->op_ns, n); break;
    default:
        if ((op[0] >= 0x30 && op[0] <= 0x39) || (op[0] >= 0x40 && op[0] <= 0x43))
            own = l->cycle_ns;
    }
    return most(own + l->op_ns);
}

static void take(row *r, const bw_limits *l, const uint8_t *op, uint16_t at, uint32_t n) {
    r->time = most(r->time + lasts(l, op, n));
    r->emitted += op[0] == 0x44;
    if (op[0] == 0x60 || op[0] == 0x23 || op[0] == 0x38 || (op[0] == 0x50 && !(op[1] & 0x10)))
        touch(r, r->net + 1, at);
    if (op[0] == 0x23 || op[0] == 0x38 || op[0] == 0x46) r->net++;
    if (op[0] == 0x45) r->net--;
    touch(r, r->net, at);
}

/* `body`, so often: turns only move on, so the first goes furthest back and the last furthest on. */
static void turn(row *outer, const row *body) {
    int64_t all = (int64_t)product((uint64_t)body->net, body->times);
    int64_t last = (int64_t)product((uint64_t)body->net, body->times - 1);
    touch(outer, outer->net + body->least, body->least_at);
    touch(outer, outer->net + last + body->most, body->most_at);
    outer->net += all;
    if (outer->net > (int64_t)FULL) outer->net = (int64_t)FULL;
    outer->time = most(outer->time + product(body->time, body->times));
    outer->emitted = most(outer->emitted + product(body->emitted, body->times));
}

static void refuse(bw_need *need, uint8_t number, uint16_t at) {
    need->refused = number;
    need->at = at;
}

void script_measure(const bw_limits *l, const uint8_t *code, uint16_t length, uint32_t n,
                    bw_need *need) {
    row rows[5] = {{0}}, *r = rows;
    uint64_t atomic = 0, held = l->op_ns + 8 * (uint64_t)l->cycle_ns, before = 0, stop, span;
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
            if (span > ATOMIC_NS) {
                refuse(need, 17, at);
                return;
            }
        }
    }
    if (r->least < 0) {
        refuse(need, 24, r->least_at);
    } else if (r->most > r->net) {
        refuse(need, 24, r->most_at);
    } else if (r->time > LONGEST_NS) {
        refuse(need, 27, 0);
    } else if (r->emitted > l->emitted) {
        refuse(need, 28, 0);
    }
    need->payload = r->net < 0 || r->net > 0xFFFFFFFF ? 0xFFFFFFFFu : (uint32_t)r->net;
    need->emitted = r->emitted > 0xFFFFFFFF ? 0xFFFFFFFFu : (uint32_t)r->emitted;
    stop = (uint64_t)critical * 1000000u + 2 * held + (tidy ? r->time - before : 0);
    need->stop_ms = (uint32_t)((stop + 999999u) / 1000000u);
}
