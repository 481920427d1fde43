/* The operations of docs/script.md as bytes. */
#include "script.h"

/* Lengths from opcode 10 on; 0: none of that code. */
static const uint8_t lengths[] BD_ROM = {
    2, 5, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 10 */
    3, 5, 1, 1, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 20 */
    5, 7, 7, 9, 3, 3, 5, 5, 1, 2, 0, 0, 0, 0, 0, 0, /* 30 */
    3, 5, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 40 */
    10, 18, 5, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 50 */
    6, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 60 */
    10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, /* 70 */
    5, 1, 1, 5, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, /* 80 */
    2, 2,                                           /* 90 */
};

uint8_t op_length(uint8_t opcode) {
    uint8_t at = (uint8_t)(opcode - 0x10);
    return at < sizeof lengths ? BD_ROM8(&lengths[at]) : 0;
}

uint32_t op_get(const uint8_t *at, uint8_t bytes) {
    uint32_t value = 0;
    while (bytes--) value = value << 8 | at[bytes];
    return value;
}
