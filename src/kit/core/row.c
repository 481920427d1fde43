/* The loop of a script translated into a row of steps (quick_ops.h), with what stands before and after
 * it; see quick.c. */
#include "cycle.h"
#include "script.h"

#ifdef BD_QUICK

#include BD_QUICK

#define ROOM 200 /* bytes of a row; an operation makes no more than 28 of it */
#define NOWHERE 0x3FFFFFFF

typedef struct {
    uint8_t *to; /* where the next byte of the row goes */
    /* A, and from where to where it was written at; counted from its first place. */
    int32_t a, low, high;
    int32_t outer_a, outer_low, outer_high;
    uint16_t skips_to; /* the operation that a skip leads to; 0: there is no skip */
    uint8_t *skip;     /* the byte of the row that says so */
    uint8_t *row;      /* where a turn begins */
    uint8_t *body;     /* of the inner loop; NULL: there is none */
    uint16_t times, words, outer_words; /* words: of the payload, in a turn */
    uint16_t stretch;  /* the operation that begins it */
    uint8_t held;      /* in a critical or atomic stretch */
    uint8_t atomic;
    uint8_t taken;     /* the word at the cursor is taken already */
    uint8_t back;      /* the cursor stands at the word taken last */
    uint8_t fresh;     /* and that word is what a wait would want */
    uint8_t how;       /* of the last wait */
    uint8_t at_b;      /* A is B */
    uint8_t there;     /* the address lines show A */
    uint8_t *put, *last; /* where PUT stands; where the row ends that may be made at once */
} translation;

static void put(translation *t, uint32_t value, uint8_t bytes) {
    for (; bytes; bytes--, value >>= 8) *t->to++ = (uint8_t)value;
}

static void code(translation *t, uint8_t step) {
    put(t, bd_quick_code(step), 2);
}

static void code_at(uint8_t *to, uint8_t step) {
    to[0] = (uint8_t)bd_quick_code(step);
    to[1] = (uint8_t)(bd_quick_code(step) >> 8);
}

static void code_with(translation *t, uint8_t step, uint32_t value) {
    code(t, step);
    put(t, value, 4);
}

static void to_a(translation *t) {
    if (!t->there) code(t, QUICK_ADDRESS);
    t->there = 1;
}

static bool writes_at_a(translation *t) {
    if (t->a < t->low) t->low = t->a;
    if (t->a > t->high) t->high = t->a;
    return t->held;
}

/* From the first turn to all turns. */
void row_spread(int32_t *low, int32_t *high, int32_t net, uint16_t times) {
    int32_t far = net * (int32_t)(times - 1u);
    if (far < 0) {
        *low += far;
    } else {
        *high += far;
    }
}

static bool write_at(bw_core *c, translation *t, uint32_t address, uint32_t value) {
    code(t, QUICK_WRITE);
    put(t, address, 3);
    put(t, value & run_ones(c), 4);
    t->there = 0;
    return t->held && address <= 0xFFFFFFu && env_may_write(c, c->run.shape, address, run_ones(c));
}

static bool write_at_a(bw_core *c, translation *t, uint32_t value) {
    to_a(t);
    code_with(t, QUICK_VALUE, value & run_ones(c));
    return writes_at_a(t);
}

static bool write_payload(translation *t) {
    to_a(t);
    if (t->taken) t->put = t->to;
    code(t, t->taken ? QUICK_PUT : QUICK_TAKE);
    if (!t->taken) t->words++;
    t->taken = 0;
    t->fresh = 1;
    return !t->back && writes_at_a(t);
}

static bool wait(bw_core *c, translation *t, const uint8_t *op) {
    static const uint8_t of[3] BD_ROM = {QUICK_EIGHTS, 0, QUICK_WHOLE};
    uint8_t how = op[1];
    uint32_t ones = run_ones(c);
    if (t->body || !t->held || t->atomic || t->taken || how & 0x30 || (how >> 2 & 3) == 2)
        return false;
    to_a(t);
    if (op[0] == 0x51) {
        code_with(t, QUICK_WANT, op_get(op + 10, 4));
        code_with(t, QUICK_BITS, op_get(op + 14, 4) & ones);
        t->fresh = 0;
    } else if (!t->back || !t->fresh) {
        return false;
    }
    if (t->put && t->to == t->put + 2 && run_ones(c) == 0xFFFFFFFFu && (how & 3) == 1)
        t->last = t->to + 6;
    code(t, QUICK_WAIT);
    *t->to++ = (uint8_t)((0x0F << env_width(c, c->run.shape) & 0x0F) | BD_ROM8(&of[how & 3]));
    put(t, (uint32_t)(op - c->run.code), 2);
    *t->to++ = t->back;
    if (op[0] == 0x51) code_with(t, QUICK_BITS, ones);
    t->how = how;
    return true;
}

static bool begin_inner(translation *t, uint32_t times) {
    if (t->body || t->taken || t->back || t->skips_to || times > 256) return false;
    code(t, QUICK_LOOP);
    *t->to++ = (uint8_t)times;
    t->body = t->to;
    t->there = 0;
    t->times = (uint16_t)times;
    t->outer_words = t->words;
    t->words = 0;
    t->outer_a = t->a;
    t->outer_low = t->low;
    t->outer_high = t->high;
    t->low = NOWHERE;
    t->high = -NOWHERE;
    return true;
}

static void end_inner(translation *t) {
    int32_t net = t->a - t->outer_a;
    row_spread(&t->low, &t->high, net, t->times);
    if (t->outer_low < t->low) t->low = t->outer_low;
    if (t->outer_high > t->high) t->high = t->outer_high;
    t->a = t->outer_a + net * (int32_t)t->times;
    t->words = (uint16_t)(t->outer_words + t->words * t->times);
    code(t, QUICK_AGAIN);
    *t->to++ = (uint8_t)(t->body - t->row);
    t->body = 0;
}

static bool skip(translation *t, const bw_run *r, const uint8_t *op, uint16_t at) {
    if (t->body || t->taken || t->back || t->skips_to) return false;
    code_with(t, QUICK_SKIP, op_get(op + 2, 4));
    t->there = 1;
    t->skip = t->to++;
    for (uint16_t left = (uint16_t)(op[1] + 1); left; left--)
        at = (uint16_t)(at + op_length(r->code[at]));
    t->skips_to = at;
    t->taken = 1;
    t->words++;
    return true;
}

/* The word that was looked at again is passed over: the row has never gone back. A skip leads to
 * here, where it has passed over it too. */
static bool next(translation *t, uint16_t at) {
    if (!t->back) return false;
    t->back = 0;
    if (t->skips_to == at) {
        *t->skip = (uint8_t)(t->to - t->row);
        t->skips_to = t->there = 0;
    }
    return true;
}

static bool step(translation *t, const uint8_t *op) {
    if (t->last == t->to && op_get(op + 1, 2) == 1) t->last += 4;
    code(t, QUICK_STEP);
    t->there = 0;
    put(t, op_get(op + 1, 2), 2);
    t->a += (int16_t)op_get(op + 1, 2);
    return !t->skips_to;
}

static bool write_fixed(bw_core *c, translation *t, const uint8_t *op) {
    uint8_t wide = op[0] & 2 ? 4 : 2;
    return write_at(c, t, op_get(op + 1 + wide, op[0] & 1 ? 4 : 2), op_get(op + 1, wide));
}

/* One operation before the loop or after it; false if it cannot be translated. */
static bool outer(bw_core *c, translation *t, const uint8_t *op) {
    switch (op[0]) {
    case 0x10: return op[1] == c->run.shape;
    case 0x22: t->at_b = 1; return true;
    case 0x12:
    case 0x85:
    case 0x86: return true;
    case 0x30:
    case 0x31:
    case 0x32:
    case 0x33: return write_fixed(c, t, op);
    case 0x35: return write_at_a(c, t, op_get(op + 1, 2));
    case 0x37: return write_at_a(c, t, op_get(op + 1, 4));
    default: return false;
    }
}

static bool outers(bw_core *c, translation *t, uint16_t from, uint16_t to) {
    t->held = 1;
    t->there = 0;
    for (; from < to; from = (uint16_t)(from + op_length(c->run.code[from])))
        if (t->to - c->scratch > ROOM || !outer(c, t, c->run.code + from)) return false;
    return true;
}

/* One operation of the loop. */
static bool operation(bw_core *c, translation *t, const uint8_t *op, uint16_t at) {
    switch (op[0]) {
    case 0x24: return step(t, op);
    case 0x30:
    case 0x31:
    case 0x32:
    case 0x33: return write_fixed(c, t, op);
    case 0x34: return write_at_a(c, t, op_get(op + 1, 2));
    case 0x36: return write_at_a(c, t, op_get(op + 1, 4));
    case 0x38: return write_payload(t);
    case 0x45:
        t->back = !t->taken && !t->body;
        return t->back;
    case 0x46: return next(t, at);
    case 0x50:
    case 0x51: return wait(c, t, op);
    case 0x60: return skip(t, &c->run, op, at);
    case 0x80: return begin_inner(t, op_get(op + 1, 4));
    case 0x81: return begin_inner(t, c->run.n);
    case 0x83:
        t->stretch = at;
        t->held++;
        return true;
    case 0x84: t->held--; return true;
    case 0x85:
        t->held++;
        t->atomic++;
        return true;
    case 0x86:
        t->held--;
        t->atomic--;
        return true;
    default: return false;
    }
}

/* Makes the row of the loop at `at`: what stands before it, a turn, what stands after it. */
bool row_make(bw_core *c, uint16_t at) {
    bw_run *r = &c->run;
    bw_row *row = &r->row;
    translation t = {0};
    t.to = c->scratch;
    t.low = NOWHERE;
    t.high = -NOWHERE;
    if (!bd_quick_fits(c, &c->shape[r->shape])) return false;
    row->whole = r->code[at - 1] == 0x81 && outers(c, &t, 0, at - 1) && t.at_b;
    if (!row->whole) t.to = c->scratch;
    t.row = t.to;
    t.atomic = r->atomic;
    t.held = r->critical | r->atomic;
    t.there = 0;
    for (row->at = at;; at = (uint16_t)(at + op_length(r->code[at]))) {
        const uint8_t *op = r->code + at;
        if (t.to - c->scratch > ROOM) return false;
        if (op[0] == 0x82 && !t.body) break;
        if (op[0] == 0x82) {
            end_inner(&t);
        } else if (!operation(c, &t, op, at)) {
            return false;
        }
    }
    if (t.taken || t.back || t.skips_to) return false;
    if (t.last == t.to && t.skip == t.row + 6 && op_get(t.row + 2, 4) == 0xFFFFFFFFu) {
        code_at(t.row, QUICK_WORD);
        code_at(t.put, QUICK_LAST);
    }
    code(&t, QUICK_END);
    row->words = t.words;
    row->stretch = t.stretch;
    row->end = at;
    row->how = t.how;
    row->net = t.a;
    row->body = (uint8_t)(t.row - c->scratch);
    row->tail = (uint8_t)(t.to - c->scratch);
    t.a = 0;
    if (!row->whole || r->code[at + 1] != 0x87 || !outers(c, &t, at + 2, r->length)) row->tail = 0;
    code(&t, QUICK_END);
    row->low = t.low;
    row->high = t.high;
    return row->words * r->pay_width <= BD_SCRATCH - QUICK_COPY;
}

#endif
