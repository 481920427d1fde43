/* Atomic stretches at one go. A chip that is given a command, or a page, may end it by itself when it is
 * kept waiting, and the interpreter, which looks everything up anew for each operation, is slow on a
 * small controller. Here it is looked up once.
 *
 * What is made here is made as the interpreter would. At any other operation, and wherever something is
 * not as it should be, this stops with the run as it is before that operation, and the interpreter goes
 * on: only it refuses and ends. */
#include <string.h>

#include "cycle.h"
#include "script.h"

typedef struct {
    const uint8_t *op;   /* that comes next */
    const uint8_t *word; /* at the cursor, in the receive ring */
    const bw_shape *s;   /* NULL: none, so no cycles */
    const bw_permit *p;  /* NULL: no writes */
    uint32_t a, d;
    uint32_t lines;      /* data lines of the word */
    uint32_t mask, rest; /* what is written: the value under the mask, and these */
    uint16_t cursor;
} stretch;

/* The script and the payload have low bytes first. */
BW_HOT uint16_t two(const uint8_t *at) {
    return (uint16_t)(at[0] | (uint16_t)at[1] << 8);
}

BW_HOT uint32_t four(const uint8_t *at) {
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    uint32_t value;
    memcpy(&value, at, 4);
    return value;
#else
    return two(at) | (uint32_t)two(at + 2) << 16;
#endif
}

BW_HOT uint32_t payload(bw_core *c, const stretch *t) {
    uint8_t bytes[4] = {0, 0, 0, 0};
    const uint8_t *at = t->word;
    for (uint8_t n = 0; n < c->run.pay_width; n++) {
        bytes[n] = *at++;
        if (at == c->ring + BD_RING) at = c->ring;
    }
    return four(bytes);
}

BW_HOT void next(bw_core *c, stretch *t) {
    t->cursor++;
    t->word += c->run.pay_width;
    if (t->word >= c->ring + BD_RING) t->word -= BD_RING;
}

BW_HOT void previous(bw_core *c, stretch *t) {
    t->cursor--;
    if (t->word < c->ring + c->run.pay_width) t->word += BD_RING;
    t->word -= c->run.pay_width;
}

BW_HOT void count(bw_core *c) {
    if (++c->work.done == 0) c->work.done--; /* no more than fits */
}

/* Low halves differ most often, and are compared in no time. */
BW_HOT bool covered(const bw_permit *p, uint32_t address) {
    uint32_t from = address - p->start;
    if (address >= p->start && from < p->words) return true;
    for (uint8_t n = 0; n < p->count; n++)
        if (!((uint16_t)(address ^ p->address[n]) & (uint16_t)p->mask) &&
            !((address ^ p->address[n]) & p->mask))
            return true;
    return false;
}

BW_HOT bool writes(bw_core *c, const stretch *t, uint32_t address, uint32_t value) {
    const bw_shape *s = t->s;
    address &= REACH;
    if (!t->p || !covered(t->p, address)) return false;
    count(c);
    value = (value & t->mask) | t->rest;
    cycle_writes(c, s, address, t->lines, word_up(value, s->first));
    return true;
}

/* 30 to 38: value and address of two or four bytes, or at A or B, or of the payload at A. */
BW_HOT bool write(bw_core *c, stretch *t) {
    const uint8_t *op = t->op, *at = op + 1;
    uint32_t value, address = t->a;
    uint8_t code = op[0];
    if (code == 0x38) {
        value = payload(c, t);
    } else {
        value = two(at);
        at += 2;
        if (code & 2) {
            value = four(op + 1);
            at += 2;
        }
        if (code & 4) {
            if (code & 1) address = c->run.b;
        } else {
            address = two(at);
            at += 2;
            if (code & 1) {
                address = four(at - 2);
                at += 2;
            }
        }
    }
    if (!writes(c, t, address, value)) return false;
    if (code == 0x38) next(c, t);
    t->op = at;
    return true;
}

/* 40 to 43. */
BW_HOT bool read(bw_core *c, stretch *t) {
    const bw_shape *s = t->s;
    const uint8_t *at = t->op + 1;
    uint32_t address = t->a;
    uint8_t code = t->op[0];
    if (!s) return false;
    if (code == 0x43) address = c->run.b;
    if (code == 0x40) {
        address = two(at);
        at += 2;
    }
    if (code == 0x41) {
        address = four(at);
        at += 4;
    }
    count(c);
    t->d = cycle_reads(c, s, address & REACH);
    if (s->width != 4) {
        t->d = word_down(t->d, s->first);
        t->d = s->width == 2 ? (uint16_t)t->d : (uint8_t)t->d;
    }
    t->op = at;
    return true;
}

BW_HOT void emit(bw_core *c, const stretch *t) {
    bw_kept *k = c->run.kept;
    op_put(k->pool + 4 * k->emitted++, t->d);
}

BW_HOT void skip(stretch *t) {
    uint8_t count = t->op[1];
    do {
        t->op += op_length(t->op[0]);
    } while (count--);
}

BW_HOT void loop(bw_core *c, stretch *t, uint8_t length, uint32_t times) {
    bw_run *r = BW_NEAR(&c->run);
    t->op += length;
    r->loop_at[r->depth] = (uint16_t)(t->op - r->code);
    r->loop_left[r->depth++] = times;
}

BW_HOT void turn(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t top = (uint8_t)(r->depth - 1);
    if (--r->loop_left[top]) {
        t->op = r->code + r->loop_at[top];
    } else {
        r->depth = top;
        t->op++;
    }
}

/* The next operation; false if it is left to the interpreter. */
BW_HOT bool operation(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    const uint8_t *op = t->op;
    uint8_t code = op[0];
    if (code >= 0x30 && code <= 0x38) return write(c, t);
    if (code >= 0x40 && code <= 0x43) return read(c, t);
    switch (code) {
    case 0x44: emit(c, t); break;
    case 0x61:
        if ((t->d & four(op + 2)) == four(op + 6)) {
            skip(t);
        } else {
            t->op += 10;
        }
        return true;
    case 0x24:
        t->a += (uint32_t)(int32_t)(int16_t)two(op + 1);
        t->op += 3;
        return true;
    case 0x82:
#ifdef BD_QUICK
        if (r->quick == r->depth) return false;
#endif
        turn(c, t);
        return true;
    case 0x45: previous(c, t); break;
    case 0x46: next(c, t); break;
    case 0x60:
        if (payload(c, t) == four(op + 2)) {
            skip(t);
        } else {
            t->op += 6;
        }
        return true;
    case 0x20:
        t->a = two(op + 1);
        t->op += 3;
        return true;
    case 0x21:
        t->a = four(op + 1);
        t->op += 5;
        return true;
    case 0x22: t->a = r->b; break;
    case 0x23:
        t->a = payload(c, t);
        next(c, t);
        break;
    case 0x80: loop(c, t, 5, four(op + 1)); return true;
    case 0x81: loop(c, t, 1, r->n); return true;
    case 0x53:
        env_pass(c, us_ticks(four(op + 1)));
        t->op += 5;
        return true;
    default: return false;
    }
    t->op++;
    return true;
}

/* What every operation would look up. */
static BW_HERE void begin(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    const bw_shape *s = shape_get(c, r->shape);
    const bw_permit *p = permit_of(c, r->shape);
    uint32_t ones = s ? word_ones(s) : 0, lanes = r->mask & ones;
    t->op = r->code + r->at;
    t->cursor = r->cursor;
    t->word = c->ring + line_index(r->pay_at, (uint16_t)(r->cursor * r->pay_width));
    t->a = r->a;
    t->d = r->d;
    t->s = s;
    t->p = s && s->writes && p && lanes && (lanes == ones || r->has_rest) && !(lanes & ~p->lanes) ? p : 0;
    t->mask = lanes;
    t->rest = r->rest & ones & ~lanes;
    t->lines = s ? word_up(ones, s->first) : 0;
}

void stretch_run(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t code = r->code[r->at];
    stretch t;
#ifdef BD_QUICK
    /* A loop that begins it may become a row, and takes long before its first turn. */
    bool begins = r->atomic == 1;
    r->atomic = 2;
    if (begins && (code == 0x80 || code == 0x81)) return;
    if (r->quick && r->quick == r->depth && r->at == r->loop_at[r->depth - 1]) return;
#endif
    if (code > 0x82) return;
    begin(c, &t);
    while (c->rail == RAIL_ON && (bd_beat(&c->bd) == c->rail_beat || rail_holds(c)) && operation(c, &t)) {}
    r->at = (uint16_t)(t.op - r->code);
    r->cursor = t.cursor;
    r->a = t.a;
    r->d = t.d;
    r->seen = env_now(c);
}
