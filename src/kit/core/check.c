/* The checker: what it accepts can be run. The numbers are those of docs/script.md, "What the
 * checker refuses". */
#include "script.h"

enum { LOOP = 1, CRITICAL, ATOMIC };

#define NESTING 4
#define CRITICAL_MS 600000u

typedef struct {
    const uint8_t *code;
    uint16_t length;
    uint8_t depth, loops, has_critical, has_atomic; /* open blocks */
    uint8_t block[NESTING + 2];
    uint16_t block_at[NESTING + 2];
    uint8_t width, rule, rest, finally;
} walk;

static bool means_something(const uint8_t *op) {
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

/* How an operation moves the cursor. */
static int8_t moves(uint8_t opcode) {
    if (opcode == 0x23 || opcode == 0x38 || opcode == 0x46) return 1;
    return opcode == 0x45 ? -1 : 0;
}

static bool straight(uint8_t opcode) {
    return (opcode >= 0x10 && opcode <= 0x12) || (opcode >= 0x20 && opcode <= 0x22) ||
           opcode == 0x24 || (opcode >= 0x30 && opcode <= 0x37) || opcode == 0x39 ||
           opcode == 0x53 || opcode == 0x90 || opcode == 0x91;
}

static uint8_t lanes(const walk *w, uint32_t mask) {
    uint32_t ones = w->width == 1 ? 0xFF : w->width == 2 ? 0xFFFF : 0xFFFFFFFF;
    if (!(mask & ones)) return 8;
    if ((mask & ones) == ones || w->rule == RULE_STROBES) return 0;
    return w->rule == RULE_REST && w->rest ? 0 : 9;
}

static uint8_t begin(walk *w, uint8_t block, uint16_t at) {
    if (block == CRITICAL && (w->has_critical || w->has_atomic)) return 15;
    if (block == ATOMIC && w->has_atomic) return 15;
    w->block[w->depth] = block;
    w->block_at[w->depth++] = at;
    w->loops += block == LOOP;
    w->has_critical += block == CRITICAL;
    w->has_atomic += block == ATOMIC;
    return 0;
}

static uint8_t end(walk *w, uint8_t block) {
    if (!w->depth || w->block[w->depth - 1] != block) return 13;
    w->depth--;
    w->loops -= block == LOOP;
    w->has_critical -= block == CRITICAL;
    w->has_atomic -= block == ATOMIC;
    return 0;
}

static uint8_t skip(const walk *w, uint16_t at) {
    uint8_t count = w->code[at + 1], depth = 0;
    /* The cursor's way at each depth. What a loop moves counts as often as it turns. */
    int16_t moved[NESTING + 3] = {0};
    if (!count) return 19;
    at = (uint16_t)(at + op_length(w->code[at]));
    for (; count; count--) {
        uint8_t opcode;
        if (at >= w->length) return 20;
        opcode = w->code[at];
        if (opcode == 0x80 || opcode == 0x81 || opcode == 0x83 || opcode == 0x85) {
            /* Deeper than any script may be: the walk refuses it where it stands. */
            if (depth == NESTING + 2) return 0;
            moved[++depth] = 0;
        } else if (opcode == 0x82 || opcode == 0x84 || opcode == 0x86) {
            if (!depth) return 20;
            if (opcode == 0x82 && moved[depth]) return 21;
            depth--;
            moved[depth] = (int16_t)(moved[depth] + moved[depth + 1]);
        } else if (opcode == 0x87) {
            return 20;
        } else if (opcode == 0x44) {
            return 22;
        } else if (opcode >= 0x10 && opcode <= 0x12) {
            return 23;
        } else {
            moved[depth] = (int16_t)(moved[depth] + moves(opcode));
        }
        at = (uint16_t)(at + op_length(opcode));
    }
    if (depth) return 20;
    return moved[0] ? 21 : 0;
}

static uint8_t one(bw_core *c, walk *w, const uint8_t *op, uint16_t at) {
    if (w->finally && !straight(op[0])) return 18;
    switch (op[0]) {
    case 0x10:
        w->width = env_width(c, op[1]);
        w->rule = env_rule(c, op[1]);
        return w->width ? 0 : 7;
    case 0x11: return lanes(w, op_get(op + 1, 4));
    case 0x12: w->rest = 1; return 0;
    case 0x39: return 1u << op[1] > w->width ? 10 : 0;
    case 0x50:
    case 0x51: return 1u << (op[1] & 3) > w->width ? 10 : 0;
    case 0x60:
    case 0x61: return skip(w, at);
    case 0x80:
    case 0x81:
        if (w->loops == NESTING) return 11;
        if (op[0] == 0x80 && op_get(op + 1, 4) == 0) return 12;
        return begin(w, LOOP, at);
    case 0x82: return end(w, LOOP);
    case 0x83:
        if (op_get(op + 1, 4) > CRITICAL_MS) return 16;
        return begin(w, CRITICAL, at);
    case 0x84: return end(w, CRITICAL);
    case 0x85: return begin(w, ATOMIC, at);
    case 0x86: return end(w, ATOMIC);
    case 0x87:
        if (w->depth) return 18;
        w->finally = 1;
        return 0;
    default: return 0;
    }
}

bw_need script_check(bw_core *c, const bw_limits *l, const uint8_t *code, uint16_t length,
                     uint32_t n) {
    bw_need need = {0};
    walk w = {0};
    uint16_t at;
    w.code = code;
    w.length = length;
    if (!length) need.refused = 1;
    if (length > l->bytes) {
        need.refused = 2;
        need.at = l->bytes;
    }
    /* First that it is a row of operations at all. */
    for (at = 0; at < length && !need.refused; at = (uint16_t)(at + op_length(code[at]))) {
        uint8_t bytes = op_length(code[at]);
        need.at = at;
        if (!bytes) {
            need.refused = 3;
        } else if (bytes > length - at) {
            need.refused = 4;
        } else if (!means_something(code + at)) {
            need.refused = 5;
        }
    }
    if (!need.refused && code[0] != 0x10) {
        need.refused = 6;
        need.at = 0;
    }
    for (at = 0; at < length && !need.refused; at = (uint16_t)(at + op_length(code[at]))) {
        need.at = at;
        need.refused = one(c, &w, code + at, at);
        if (code[at] == 0x39 || code[at] == 0x70 || code[at] == 0x81) need.uses_n = 1;
        if (code[at] == 0x70) need.sweeps = 1;
    }
    if (!need.refused && w.depth) {
        need.refused = 14;
        need.at = w.block_at[w.depth - 1];
    }
    if (!need.refused) script_measure(l, code, length, need.uses_n ? n : 1, &need);
    return need;
}
