/* The checker: what it accepts can be run. The numbers are those of docs/script.md, "What the
 * checker refuses". */
#include <string.h>

#include "script.h"

#define NESTING 4
#define CRITICAL_MS 600000u

typedef struct {
    const uint8_t *code;
    uint16_t length;
    uint8_t depth, open[OP_ATOMIC + 1]; /* open blocks, and how many of each kind */
    uint8_t block[NESTING + 2];
    uint16_t block_at[NESTING + 2];
    uint8_t width, rule, rest, finally;
} walk;

static BW_HERE bool means_something(const uint8_t *op) {
    uint8_t operations;
    switch (op[0]) {
    case 0x39: return op[1] <= 2;
    case 0x50:
    case 0x51:
        if ((op[1] & 3) == 3 || (op[1] >> 2 & 3) == 3 || op[1] & 0xC0) return false;
        return op[0] == 0x50 || !(op[1] & 0x10);
    case 0x70:
        operations = op[1] & 15;
        if (operations < 1 || operations > 8 || op[1] & 0x30) return false;
        return !((op[2] | op[3]) >> operations);
    case 0x90:
    case 0x91: return op[1] <= 2;
    default: return true;
    }
}

static BW_HERE uint8_t lanes(const walk *w, uint32_t mask) {
    uint32_t ones = ones_of(w->width);
    if (!(mask & ones)) return 8;
    if ((mask & ones) == ones || w->rule == RULE_STROBES) return 0;
    return w->rule == RULE_REST && w->rest ? 0 : 9;
}

static BW_HERE uint8_t begin(walk *w, uint8_t block, uint16_t at) {
    if (block != OP_LOOP && (w->open[block] || w->open[OP_ATOMIC])) return 15;
    w->block[w->depth] = block;
    w->block_at[w->depth++] = at;
    w->open[block]++;
    return 0;
}

static BW_HERE uint8_t end(walk *w, uint8_t block) {
    if (!w->depth || w->block[w->depth - 1] != block) return 13;
    w->depth--;
    w->open[block]--;
    return 0;
}

static uint8_t skip(const walk *w, const uint8_t *op) {
    uint8_t count = op[1], depth = 0;
    /* The cursor's way: since the skip, and at the begin of each block. What a loop moves counts as
     * often as it turns. */
    int16_t moved = 0, before[NESTING + 2];
    if (!count) return 19;
    for (; count; count--) {
        uint8_t block;
        op += op_length(*op);
        if (op >= w->code + w->length) return 20;
        block = op_block(*op);
        if (block & OP_END) {
            if (!depth) return 20;
            if (*op == 0x82 && moved != before[depth - 1]) return 21;
            depth--;
        } else if (block) {
            /* Deeper than any script may be: the walk refuses it where it stands. */
            if (depth == NESTING + 2) return 0;
            before[depth++] = moved;
        } else if (*op == 0x87) {
            return 20;
        } else if (*op == 0x44) {
            return 22;
        } else if (*op >= 0x10 && *op <= 0x12) {
            return 23;
        } else {
            moved += op_moves(op_is(*op));
        }
    }
    if (depth) return 20;
    return moved ? 21 : 0;
}

static uint8_t one(bw_core *c, walk *w, const uint8_t *op, uint16_t at) {
    uint8_t block = op_block(op[0]);
    if (w->finally && !(op_is(op[0]) & OP_STRAIGHT)) return 18;
    if (block & OP_END) return end(w, block & (uint8_t)~OP_END);
    switch (op[0]) {
    case 0x10:
        w->width = env_width(c, op[1]);
        w->rule = env_rule(c, op[1]);
        return w->width ? 0 : 7;
    case 0x11: return lanes(w, op_long(op + 1));
    case 0x12: w->rest = 1; return 0;
    case 0x39:
    case 0x50:
    case 0x51: return 1u << (op[1] & 3) > w->width ? 10 : 0;
    case 0x60:
    case 0x61: return skip(w, op);
    case 0x80:
    case 0x81:
        if (w->open[OP_LOOP] == NESTING) return 11;
        if (op[0] == 0x80 && op_long(op + 1) == 0) return 12;
        break;
    case 0x83:
        if (op_long(op + 1) > CRITICAL_MS) return 16;
        break;
    case 0x87:
        if (w->depth) return 18;
        w->finally = 1;
    }
    return block ? begin(w, block, at) : 0;
}

BW_HERE void script_check(bw_core *c, const bw_limits *l, const uint8_t *code, uint16_t length,
                          uint32_t n, bw_need *need) {
    walk w = {0};
    uint16_t at;
    uint8_t why = 0;
    memset(need, 0, sizeof *need);
    w.code = code;
    w.length = length;
    if (!length) why = 1;
    if (length > l->bytes) {
        need->at = l->bytes;
        why = 2;
    }
    /* First that it is a row of operations at all. */
    for (at = 0; at < length && !why; at += op_length(code[at])) {
        uint8_t bytes = op_length(code[at]);
        need->at = at;
        if (!bytes) {
            why = 3;
        } else if (bytes > length - at) {
            why = 4;
        } else if (!means_something(code + at)) {
            why = 5;
        }
    }
    if (!why && code[0] != 0x10) {
        need->at = 0;
        why = 6;
    }
    for (at = 0; at < length && !why; at += op_length(code[at])) {
        uint8_t opcode = code[at];
        need->at = at;
        why = one(c, &w, code + at, at);
        if (opcode == 0x39 || opcode == 0x70 || opcode == 0x81) need->uses_n = 1;
        if (opcode == 0x70) need->sweeps = 1;
    }
    if (!why && w.depth) {
        need->at = w.block_at[w.depth - 1];
        why = 14;
    }
    need->refused = why;
    if (!why) script_measure(l, code, length, need->uses_n ? n : 1, need);
}
