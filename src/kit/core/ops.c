/* The operations of docs/script.md as bytes. */
#include "script.h"

typedef struct {
    uint8_t length, is; /* OP_... */
} operation;

/* In the order of their codes, which is that of OP_SHAPE and so on. */
static const operation operations[] BD_ROM = {
    /* 10 */ {2, OP_STRAIGHT}, {5, OP_STRAIGHT}, {5, OP_STRAIGHT},
    /* 20 */ {3, OP_STRAIGHT}, {5, OP_STRAIGHT}, {1, OP_STRAIGHT}, {1, OP_ON | OP_LOOKS},
             {3, OP_STRAIGHT},
    /* 30 */ {5, OP_STRAIGHT | OP_CYCLE}, {7, OP_STRAIGHT | OP_CYCLE}, {7, OP_STRAIGHT | OP_CYCLE},
             {9, OP_STRAIGHT | OP_CYCLE}, {3, OP_STRAIGHT | OP_CYCLE}, {3, OP_STRAIGHT | OP_CYCLE},
             {5, OP_STRAIGHT | OP_CYCLE}, {5, OP_STRAIGHT | OP_CYCLE}, {1, OP_CYCLE | OP_ON | OP_LOOKS},
             {2, OP_STRAIGHT | OP_CYCLE},
    /* 40 */ {3, OP_CYCLE}, {5, OP_CYCLE}, {1, OP_CYCLE}, {1, OP_CYCLE}, {1, 0}, {1, OP_BACK},
             {1, OP_ON},
    /* 50 */ {10, OP_LOOKS}, {18, 0}, {5, 0}, {5, OP_STRAIGHT},
    /* 60 */ {6, OP_LOOKS}, {10, 0},
    /* 70 */ {10, 0},
    /* 80 */ {5, 0}, {1, 0}, {1, 0}, {5, 0}, {1, 0}, {1, 0}, {1, 0}, {1, 0},
    /* 90 */ {2, OP_STRAIGHT}, {2, OP_STRAIGHT},
    /* none */ {0, 0},
};

/* Where the codes of each tens begin in it, from 10 on. */
static const uint8_t tens[] BD_ROM = {0, 3, 8, 18, 25, 29, 31, 32, 40, 42};

uint8_t op_which(uint8_t opcode) {
    uint8_t row = (uint8_t)((opcode >> 4) - 1), at;
    if (row >= sizeof tens - 1) return OP_NONE;
    at = (uint8_t)(BD_ROM8(&tens[row]) + (opcode & 15));
    return at < BD_ROM8(&tens[row + 1]) ? at : OP_NONE;
}

uint8_t op_bytes(uint8_t which) {
    return BD_ROM8(&operations[which].length);
}

uint8_t op_length(uint8_t opcode) {
    return op_bytes(op_which(opcode));
}

uint8_t op_is(uint8_t opcode) {
    return BD_ROM8(&operations[op_which(opcode)].is);
}

int8_t op_moves(uint8_t is) {
    return (int8_t)((is & OP_ON) - (is >> 1 & 1));
}

/* 80 and 81 begin a loop that 82 ends, then each block has two codes. */
uint8_t op_block(uint8_t opcode) {
    if (opcode == 0x80) return OP_LOOP;
    if (opcode < 0x80 || opcode > 0x86) return 0;
    return (uint8_t)((opcode - 0x7F) >> 1 | (opcode & 1 ? 0 : OP_END));
}

uint32_t ones_of(uint8_t width) {
    return width == 1 ? 0xFF : width == 2 ? 0xFFFF : 0xFFFFFFFF;
}

uint32_t op_get(const uint8_t *at, uint8_t bytes) {
    uint32_t value = 0;
    while (bytes--) value = value << 8 | at[bytes];
    return value;
}

uint32_t op_long(const uint8_t *at) {
    return op_get(at, 4);
}

void op_put(uint8_t *to, uint32_t value) {
    for (uint8_t n = 0; n < 4; n++, value >>= 8) to[n] = (uint8_t)value;
}
