/* Requests and replies by rows of fields in program memory: a field of a row costs a few bytes there,
 * and a call for each would cost many more. */
#include "parts.h"

void take_row(bw_core *c, void *to, const bw_field *row, uint8_t count) {
    for (; count; count--, row++) {
        void *at = (uint8_t *)to + BD_ROM8(&row->at);
        uint8_t kind = BD_ROM8(&row->kind);
        if (kind == FIELD_16) {
            *(uint16_t *)at = take16(c);
        } else if (kind == FIELD_32) {
            *(uint32_t *)at = take32(c);
        } else {
            uint16_t from = c->at;
            uint8_t value = take8(c);
            *(uint8_t *)at = value;
            if (kind == FIELD_WIDTH ? value != 1 && value != 2 && value != 4
                                    : kind != FIELD_8 && value >= kind)
                take_bad(c, from);
        }
    }
}

uint8_t take_all(bw_core *c, void *to, const bw_field *row, uint8_t count) {
    take_row(c, to, row, count);
    return take_end(c) ? F_NONE : F_MALFORMED;
}

void send_row(bw_core *c, const void *from, const bw_field *row, uint8_t count) {
    uint8_t bytes[ROW_BYTES], *to = bytes;
    for (; count; count--, row++) {
        const void *at = (const uint8_t *)from + BD_ROM8(&row->at);
        uint8_t kind = BD_ROM8(&row->kind), width = 1;
        uint32_t value = *(const uint8_t *)at;
        if (kind == FIELD_16) {
            value = *(const uint16_t *)at;
            width = 2;
        } else if (kind == FIELD_32) {
            value = *(const uint32_t *)at;
            width = 4;
        }
        for (; width; width--, value >>= 8) *to++ = (uint8_t)value;
    }
    send_bytes(c, bytes, (uint8_t)(to - bytes));
}

void send_rom(bw_core *c, const void *from, uint8_t count) {
    const uint8_t *at = from;
    while (count--) send8(c, BD_ROM8(at++));
}
