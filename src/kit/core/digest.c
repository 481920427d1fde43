/* DIGEST: checksum, AND and OR of many words, made here. */
#include "cycle.h"

/* Words between two pauses; each is short against every time that is kept. */
#define SLICE 32

BW_FAST uint8_t serve_digest(bw_core *c) {
    uint8_t echo[14], slot, precharge;
    uint32_t address, count, charge, sum = CRC_START, all, any = 0, step;
    bw_shape *s;
    take16(c);
    slot = take8(c);
    address = take32(c);
    step = (uint32_t)(int32_t)(int16_t)take16(c);
    count = take32(c);
    precharge = take_below(c, 3);
    if (!take_end(c)) return F_MALFORMED;
    if (rail_refusal(c)) return rail_refusal(c);
    s = shape_get(c, slot);
    if (!s) return F_NO_SHAPE;
    if (span_check(c, address, (int32_t)step, count)) return F_BEYOND;
    for (uint8_t n = 0; n < 14; n++) echo[n] = line_u8(c, (uint16_t)(n + 2));
    work_whole(c, count);
    cycle_ready(c);
    all = word_ones(s);
    charge = precharge == 2 ? all : 0;
    while (count) {
        uint8_t slice = count < SLICE ? (uint8_t)count : SLICE;
        if (!breathe(c)) return work_fault(c);
        count -= slice;
        c->work_done += slice;
        for (; slice; slice--) {
            uint32_t value;
            if (precharge) cycle_charge(c, s, charge);
            value = cycle_read_here(c, s, address);
            address += step;
            all &= value;
            any |= value;
            sum = crc_byte(sum, (uint8_t)value);
            if (s->width == 1) continue;
            sum = crc_byte(sum, (uint8_t)(value >> 8));
            if (s->width == 2) continue;
            sum = crc_byte(sum, (uint8_t)(value >> 16));
            sum = crc_byte(sum, (uint8_t)(value >> 24));
        }
    }
    if (!breathe(c)) return work_fault(c);
    reply_body(c, echo, 14);
    send32(c, crc_done(sum));
    send32(c, all);
    send32(c, any);
    send_end(c);
    return F_NONE;
}
