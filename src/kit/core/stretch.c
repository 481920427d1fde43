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
    const uint8_t *word; /* of the payload, at the cursor */
    const bw_shape *s;
    const bw_permit *p;  /* NULL: no writes */
    uint32_t a, d;
    uint32_t lines;      /* data lines of the word */
    uint32_t mask, rest; /* what is written: the value under the mask, and these */
    uint16_t cycles;
} stretch;

/* The script has low bytes first. */
BW_HOT uint16_t two(const uint8_t *at) {
    return (uint16_t)(at[0] | (uint16_t)at[1] << 8);
}

#ifdef BW_LOW_FIRST
BW_HOT uint32_t four(const uint8_t *at) {
    uint32_t value;
    memcpy(&value, at, 4);
    return value;
}
BW_HOT void put(uint8_t *to, uint32_t value) {
    memcpy(to, &value, 4);
}
#else
BW_HOT uint32_t four(const uint8_t *at) {
    return two(at) | (uint32_t)two(at + 2) << 16;
}
BW_HOT void put(uint8_t *to, uint32_t value) {
    op_put(to, value);
}
#endif

/* Four bytes within which the ring ends. */
static uint32_t torn(bw_core *c, const uint8_t *at) {
    uint8_t bytes[4], n = 0;
    do {
        bytes[n] = *at++;
        if (at == c->ring + BD_RING) at = c->ring;
    } while (++n < 4);
    return four(bytes);
}

/* The word of the payload that stands there. */
static uint32_t payload(bw_core *c, const uint8_t *at) {
    uint8_t width = c->run.pay_width;
    uint32_t value = at > c->ring + BD_RING - 4 ? torn(c, at) : four(at);
    if (width == 1) return (uint8_t)value;
    return width == 2 ? (uint16_t)value : value;
}

BW_HOT void next(bw_core *c, stretch *t) {
    t->word += c->run.pay_width;
    if (t->word >= c->ring + BD_RING) t->word -= BD_RING;
}

BW_HOT void previous(bw_core *c, stretch *t) {
    if (t->word < c->ring + c->run.pay_width) t->word += BD_RING;
    t->word -= c->run.pay_width;
}

/* 30 to 38: value and address of two or four bytes, or at A or B, or of the payload at A. */
BW_HOT bool write(bw_core *c, stretch *t) {
    const bw_shape *s = t->s;
    const uint8_t *at = t->op + 1;
    uint32_t value, address = t->a;
    uint8_t code = t->op[0];
    if (!t->p) return false;
    if (code == 0x38) {
        value = payload(c, t->word);
    } else {
        value = two(at);
        if (code & 2) {
            value = four(at);
            at += 2;
        }
        at += 2;
        if (code & 4) {
            if (code & 1) address = c->run.b;
        } else {
            address = two(at);
            if (code & 1) {
                address = four(at);
                at += 2;
            }
            at += 2;
        }
    }
    address &= REACH;
    /* The window does not wrap. */
    if (address - t->p->start >= t->p->words && !permit_lists(t->p, address)) return false;
    value = (value & t->mask) | t->rest;
    cycle_wait_released(c);
    bd_address(&c->bd, address);
    bd_data_drive(&c->bd, t->lines, s->first ? word_up(s, value) : value);
    cycle_latch(c, s);
    t->cycles++;
    if (code == 0x38) next(c, t);
    t->op = at;
    return true;
}

/* 40 to 43. */
BW_HOT bool read(bw_core *c, stretch *t) {
    const uint8_t *at = t->op + 1;
    uint32_t address = t->a;
    uint8_t code = t->op[0];
    if (code == 0x43) address = c->run.b;
    if (code < 0x42) {
        address = two(at);
        if (code & 1) {
            address = four(at);
            at += 2;
        }
        at += 2;
    }
    t->d = cycle_read(c, t->s, address & REACH);
    t->cycles++;
    t->op = at;
    return true;
}

/* 60 and 61: all that are alike pass over. */
BW_HOT void skip(bw_core *c, stretch *t) {
    const uint8_t *op = t->op;
    uint8_t count = 0;
    if (op[0] & 1) {
        if ((t->d & four(op + 2)) == four(op + 6)) count = op[1];
    } else {
        if (payload(c, t->word) == four(op + 2)) count = op[1];
    }
    do {
        op += op_length(op[0]);
    } while (count--);
    t->op = op;
}

/* 80 and 81. */
BW_HOT void loop(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    uint32_t times = r->n;
    if (!(t->op[0] & 1)) {
        times = four(t->op + 1);
        t->op += 4;
    }
    t->op++;
    r->loop_at[r->depth] = (uint16_t)(t->op - r->code);
    r->loop_left[r->depth++] = times;
}

/* The end of a loop. A long one is left now and then, so that cycles are counted in little. */
BW_HOT bool turn(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t top = (uint8_t)(r->depth - 1);
    uint32_t *left = &r->loop_left[top];
#ifdef BD_QUICK
    if (r->quick > top) return false;
#endif
    if (t->cycles >= 0x8000) return false;
    if (--*left) {
        t->op = r->code + r->loop_at[top];
    } else {
        r->depth = top;
        t->op++;
    }
    return true;
}

/* The next operation; false if it is left to the interpreter. */
BW_HOT bool operation(bw_core *c, stretch *t) {
    const uint8_t *op = t->op;
    bw_kept *k = c->run.kept;
    uint8_t code = op[0];
    if (code >= 0x30 && code <= 0x38) return write(c, t);
    if (code >= 0x40 && code <= 0x43) return read(c, t);
    switch (code) {
    case 0x44: put(k->pool + 4 * k->emitted++, t->d); break;
    case 0x61:
    case 0x60: skip(c, t); return true;
    case 0x24:
        t->a += (uint32_t)(int32_t)(int16_t)two(op + 1);
        op += 2;
        break;
    case 0x82: return turn(c, t);
    case 0x45: previous(c, t); break;
    case 0x23: t->a = payload(c, t->word); /* falls through */
    case 0x46: next(c, t); break;
    case 0x20:
        t->a = two(op + 1);
        op += 2;
        break;
    case 0x21:
        t->a = four(op + 1);
        op += 4;
        break;
    case 0x22: t->a = c->run.b; break;
    case 0x80:
    case 0x81: loop(c, t); return true;
    case 0x53:
        env_pass(c, us_ticks(four(op + 1)));
        op += 4;
        break;
    default: return false;
    }
    t->op = op + 1;
    return true;
}

/* What every operation would look up. */
static BW_HERE void begin(bw_core *c, stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    const bw_shape *s = shape_at(c, r->shape); /* the operation that chose it has looked */
    const bw_permit *p = permit_of(c, r->shape);
    uint32_t ones = word_ones(s), lanes = r->mask & ones;
    if (!s->writes || !lanes || (lanes != ones && !r->has_rest) || (p && lanes & ~p->lanes)) p = 0;
    t->op = r->code + r->at;
    t->word = c->ring + line_index(r->pay_at, (uint16_t)(r->cursor * r->pay_width));
    t->a = r->a;
    t->d = r->d;
    t->s = s;
    t->p = p;
    t->mask = lanes;
    t->rest = r->rest & ones & ~lanes;
    t->lines = word_lines(s);
    t->cycles = 0;
}

/* The run as it is now. */
static BW_HERE void leave(bw_core *c, const stretch *t) {
    bw_run *r = BW_NEAR(&c->run);
    uint16_t words = (uint16_t)(t->word - (c->ring + r->pay_at));
    if (t->word < c->ring + r->pay_at) words += BD_RING;
    r->at = (uint16_t)(t->op - r->code);
    r->cursor = words >> (r->pay_width >> 1);
    r->a = t->a;
    r->d = t->d;
    r->seen = env_now(c);
    env_counts(c, t->cycles);
}

void stretch_run(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t code = r->code[r->at];
    stretch t;
#ifdef BD_QUICK
    /* A loop that begins it may become a row, which takes long before its first turn. */
    bool begins = r->atomic == 1;
    r->atomic = 2;
    if (begins && (code == 0x80 || code == 0x81)) return;
    if (r->quick && r->quick == r->depth && r->at == r->loop_at[r->depth - 1]) return;
#endif
    if (code == 0x86) return;
    begin(c, &t);
    while (c->rail == RAIL_ON && (bd_beat(&c->bd) == c->rail_beat || rail_holds(c)) && operation(c, &t)) {}
    leave(c, &t);
}
