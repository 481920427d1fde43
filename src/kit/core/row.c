/* The loop of a script translated into a row of steps (quick_ops.h), with what stands before and after
 * it; see quick.c. */
#include <string.h>

#include "cycle.h"
#include "script.h"

#ifdef BD_QUICK

#include BD_QUICK

#define ROOM 192 /* bytes of a row; an operation makes no more than 32 of it, and its ends 4 */
/* In a turn nobody looks at the rail and the clock. */
#define MOST_WRITES 96
/* A never goes so far in a turn that any place would not fit in two bytes: loops in which it would are
 * left to the interpreter. */
#define FAR 0x1FFF

typedef struct {
    uint8_t *to; /* where the next byte of the row goes */
    /* A, and from where to where it was written at; counted from its first place. */
    int16_t a, low, high;
    int16_t outer_a, outer_low, outer_high;
    uint16_t skips_to; /* the operation that a skip leads to; 0: there is no skip */
    uint8_t *skip;     /* the byte of the row that says so */
    const uint8_t *rest; /* the operand of the last one before the loop; NULL: there is none */
    uint8_t *row;      /* where a turn begins */
    uint8_t *body;     /* of the inner loop; NULL: there is none */
    uint16_t times, words, outer_words; /* words: of the payload, in a turn */
    uint16_t writes, outer_writes;      /* in a turn */
    uint16_t stretch;  /* the operation that begins it */
    uint8_t width;     /* bytes of a word */
    uint8_t outside;   /* before the loop or after it */
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

/* `bytes` of what stands there, and then nothing, up to `room`: the script has low bytes first, too. */
static void copy(translation *t, const uint8_t *from, uint8_t bytes, uint8_t room) {
    memset(t->to, 0, room);
    memcpy(t->to, from, bytes < room ? bytes : room);
    t->to += room;
}

static void code_at(uint8_t *to, uint8_t step) {
    uint16_t code = bd_quick_code(step);
    to[0] = (uint8_t)code;
    to[1] = (uint8_t)(code >> 8);
}

static void code(translation *t, uint8_t step) {
    code_at(t->to, step);
    t->to += 2;
}

static BW_HERE void code_with(translation *t, uint8_t step, const uint8_t *number) {
    code(t, step);
    copy(t, number, 4, 4);
}

static void to_a(translation *t) {
    if (!t->there) code(t, QUICK_ADDRESS);
    t->there = 1;
}

static bool writes_at_a(translation *t) {
    t->writes++;
    if (t->a < t->low) t->low = t->a;
    if (t->a > t->high) t->high = t->a;
    return t->held;
}

/* Of a number of so many bytes those that a word has. */
static uint8_t cut(const translation *t, uint8_t bytes) {
    return bytes < t->width ? bytes : t->width;
}

/* Value and address of two or four bytes, or the value at A; what stands beside the loop has A at B. */
static BW_HERE bool write(bw_core *c, translation *t, const uint8_t *op) {
    uint8_t wide = op[0] & 2 ? 4 : 2, far = op[0] & 1 ? 4 : 2;
    const uint8_t *address = op + 1 + wide;
    if (op[0] & 4) {
        to_a(t);
        code(t, QUICK_VALUE);
        copy(t, op + 1, cut(t, wide), 4);
        return (op[0] & 1) == t->outside && writes_at_a(t);
    }
    code(t, QUICK_WRITE);
    copy(t, address, far, 3);
    copy(t, op + 1, cut(t, wide), 4);
    t->there = 0;
    t->writes++;
    return t->held && (far < 4 || !address[3]) &&
           env_may_write(c, c->run.shape, op_get(address, far), run_ones(c));
}

static BW_HERE bool write_payload(translation *t) {
    uint8_t step = QUICK_TAKE;
    to_a(t);
    if (t->taken) {
        t->put = t->to;
        step = QUICK_PUT;
        t->words--;
    }
    code(t, step);
    t->words++;
    t->taken = 0;
    t->fresh = 1;
    return !t->back && writes_at_a(t);
}

static bool wait(translation *t, const uint8_t *op, uint16_t at) {
    static const uint8_t of[3] BD_ROM = {QUICK_EIGHTS, 0, QUICK_WHOLE};
    uint8_t how = op[1], *to;
    bool value = op[0] == 0x51;
    if (t->body || !t->held || t->atomic || t->taken || how & 0x30 || (how & 0xC) == 8) return false;
    to_a(t);
    if (value) {
        code_with(t, QUICK_WANT, op + 10);
        code(t, QUICK_BITS);
        copy(t, op + 14, t->width, 4);
        t->fresh = 0;
    } else if (!t->back || !t->fresh) {
        return false;
    }
    if (t->put && t->to == t->put + 2 && t->width == 4 && (how & 3) == 1) t->last = t->to + 10;
    code(t, QUICK_WAIT);
    to = t->to;
    to[0] = (uint8_t)((0x0F << t->width & 0x0F) | BD_ROM8(&of[how & 3]));
    to[1] = (uint8_t)at;
    to[2] = (uint8_t)(at >> 8);
    to[3] = t->back;
    t->to += 4;
    copy(t, op + 2, t->width, 4);
    if (value) {
        code(t, QUICK_BITS);
        copy(t, to, 0, 4);
        memset(t->to - 4, 0xFF, t->width);
    }
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
    t->outer_writes = t->writes;
    t->words = t->writes = 0;
    t->outer_a = t->a;
    t->outer_low = t->low;
    t->outer_high = t->high;
    t->low = FAR;
    t->high = -FAR;
    return true;
}

/* A moves; false if too far. */
static bool moves(translation *t, int32_t by) {
    int32_t a = t->a + by;
    t->a = (int16_t)a;
    t->there = 0;
    return a >= -FAR && a <= FAR;
}

static BW_HERE bool end_inner(translation *t) {
    int32_t far = (int32_t)(t->a - t->outer_a) * (t->times - 1); /* from the first turn to the last */
    if (!moves(t, far)) return false;
    if (t->low <= t->high) {
        if (far < 0) t->low += (int16_t)far;
        if (far > 0) t->high += (int16_t)far;
    }
    if (t->outer_low < t->low) t->low = t->outer_low;
    if (t->outer_high > t->high) t->high = t->outer_high;
    t->words = (uint16_t)(t->outer_words + t->words * t->times);
    t->writes = (uint16_t)(t->outer_writes + t->writes * t->times);
    code(t, QUICK_AGAIN);
    *t->to++ = (uint8_t)(t->body - t->row);
    t->body = 0;
    return true;
}

static BW_HERE bool skip(translation *t, const bw_run *r, const uint8_t *op, uint16_t at) {
    if (t->body || t->taken || t->back || t->skips_to) return false;
    code_with(t, QUICK_SKIP, op + 2);
    t->there = 1;
    t->skip = t->to++;
    t->skips_to = run_past(r, at, op[1]);
    t->taken = 1;
    t->words++;
    return true;
}

/* The word that was looked at again is passed over: the row has never gone back. A skip leads to
 * here, where it has passed over it too. */
static BW_HERE bool next(translation *t, uint16_t at) {
    if (!t->back) return false;
    t->back = 0;
    if (t->skips_to == at) {
        *t->skip = (uint8_t)(t->to - t->row);
        t->skips_to = t->there = 0;
    }
    return true;
}

static BW_HERE bool step(translation *t, const uint8_t *op) {
    int16_t by = (int16_t)op_get(op + 1, 2);
    if (t->last == t->to && by == 1) t->last += 4;
    code(t, QUICK_STEP);
    copy(t, op + 1, 2, 2);
    return moves(t, by) && !t->skips_to;
}

/* An operation before the loop or after it, beside writes. */
static BW_HERE bool outer(bw_core *c, translation *t, const uint8_t *op) {
    switch (op[0]) {
    case 0x10: return op[1] == c->run.shape;
    case 0x12: t->rest = op + 1; return true;
    case 0x22: t->at_b = 1; return true;
    case 0x85:
    case 0x86: return true;
    default: return false;
    }
}

/* One operation; false if it cannot be translated. */
static BW_HERE bool operation(bw_core *c, translation *t, const uint8_t *op, uint16_t at) {
    if ((op[0] & 0xF8) == 0x30) return write(c, t, op);
    if (t->outside) return outer(c, t, op);
    switch (op[0]) {
    case 0x24: return step(t, op);
    case 0x38: return write_payload(t);
    case 0x45:
        t->back = !t->taken && !t->body;
        return t->back;
    case 0x46: return next(t, at);
    case 0x50:
    case 0x51: return wait(t, op, at);
    case 0x60: return skip(t, &c->run, op, at);
    case 0x80: return begin_inner(t, op_long(op + 1));
    case 0x81: return begin_inner(t, c->run.n);
    case 0x82: return end_inner(t);
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

/* Operations from there on, up to this one or to the end of the loop; where that stands, 0 if one of
 * them cannot be translated. */
static uint16_t row_of(bw_core *c, translation *t, uint16_t at, uint16_t to) {
    const uint8_t *op;
    t->there = 0;
    for (; at < to; at += op_length(op[0])) {
        op = c->run.code + at;
        if (op[0] == 0x82 && !t->body) break;
        if (t->to - c->scratch > ROOM || !operation(c, t, op, at)) return 0;
    }
    return at;
}

/* The same for what stands beside the loop. */
static BW_HERE bool beside(bw_core *c, translation *t, uint16_t at, uint16_t to) {
    t->outside = t->held = 1;
    return row_of(c, t, at, to) == to;
}

/* Makes the row of the loop at `at`: what stands before it, a turn, what stands after it. */
BW_HERE bool row_make(bw_core *c, uint16_t at) {
    bw_run *r = BW_NEAR(&c->run);
    bw_row *row = BW_NEAR(&r->row);
    translation t = {0};
    t.to = c->scratch;
    t.low = FAR;
    t.high = -FAR;
    t.width = r->pay_width;
    if (!bd_quick_fits(c, shape_at(c, r->shape))) return false;
    row->at = at;
    /* Not one that begins inside a stretch: the next run would not know of it. */
    row->whole = !r->atomic && r->code[at - 1] == 0x81 && beside(c, &t, 0, at - 1) && t.at_b;
    row->rest = t.rest;
    if (!row->whole) t.to = c->scratch;
    t.row = t.to;
    t.outside = 0;
    t.atomic = r->atomic;
    t.held = r->critical | r->atomic;
    row->end = at = row_of(c, &t, at, r->length);
    if (!at || t.taken || t.back || t.skips_to || t.writes > MOST_WRITES) return false;
    if (t.last == t.to && t.skip == t.row + 6 && op_long(t.row + 2) == 0xFFFFFFFFu) {
        code_at(t.row, QUICK_WORD);
        code_at(t.put, QUICK_LAST);
    }
    code(&t, QUICK_END);
    row->words = t.words;
    row->stretch = t.stretch;
    row->how = t.how;
    row->net = t.a;
    row->body = (uint8_t)(t.row - c->scratch);
    row->tail = (uint8_t)(t.to - c->scratch);
    t.a = t.at_b = 0;
    if (!row->whole || r->code[at + 1] != 0x87 || !beside(c, &t, at + 2, r->length) || t.at_b)
        row->tail = 0;
    code(&t, QUICK_END);
    row->low = t.low;
    row->high = t.high;
    return row->words * r->pay_width <= BD_SCRATCH - QUICK_COPY;
}

#endif
