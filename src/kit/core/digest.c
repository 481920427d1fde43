/* DIGEST: checksum, AND and OR of many words, made here. */
#include "burst.h"

/* Words between two pauses; each is short against every time that is kept. */
#define SLICE 128

uint8_t serve_digest(bw_core *c) {
    uint8_t echo[14], slot, precharge;
    uint32_t address, count;
    int16_t step;
    bw_shape *s;
    bw_burst burst;
    bw_sum sum;
    take16(c);
    slot = take8(c);
    address = take32(c);
    step = (int16_t)take16(c);
    count = take32(c);
    precharge = take_below(c, 3);
    if (!take_end(c)) return F_MALFORMED;
    if (rail_refusal(c)) return rail_refusal(c);
    s = shape_get(c, slot);
    if (!s) return F_NO_SHAPE;
    if (span_check(c, address, step, count)) return F_BEYOND;
    for (uint8_t n = 0; n < 14; n++) echo[n] = line_u8(c, (uint16_t)(n + 2));
    work_whole(c, count);
    burst_begin(c, &burst, s, address, step, precharge);
    sum.crc = CRC_START;
    sum.all = word_ones(s);
    sum.any = 0;
    while (count) {
        uint8_t slice = burst_some(&burst, count < SLICE ? (uint8_t)count : SLICE);
        if (!breathe_short(c)) return work_fault(c);
        burst_sum(c, &burst, slice, &sum);
        count -= slice;
        c->work_done += slice;
    }
    burst_summed(&burst, &sum);
    if (!breathe(c)) return work_fault(c);
    reply_body(c, echo, 14);
    send32(c, crc_done(sum.crc));
    send32(c, sum.all);
    send32(c, sum.any);
    send_end(c);
    return F_NONE;
}
