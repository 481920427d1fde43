/* DIGEST: checksum, AND and OR of many words, made here. */
#include "burst.h"

/* Words between two pauses; each is short against every time that is kept. */
#define SLICE 128

uint8_t serve_digest(bw_core *c) {
    uint8_t frame[16], *echo = frame + 2;
    uint32_t count;
    int16_t step;
    bw_shape *s;
    bw_burst burst;
    bw_sum sum;
    if (!burst_fields(c, echo, 14, 0x228D, 13)) return F_MALFORMED;
    burst.address = burst_u32(echo + 3);
    step = (int16_t)burst_u16(echo + 7);
    count = burst_u32(echo + 9);
    if (rail_refusal(c)) return rail_refusal(c);
    s = shape_get(c, echo[2]);
    if (!s) return F_NO_SHAPE;
    if (span_check(c, burst.address, step, count)) return F_BEYOND;
    work_whole(c, count);
    burst_begin(c, &burst, s, step, echo[13]);
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
    send_reply(c, frame, 16);
    send32(c, crc_done(sum.crc));
    send32(c, sum.all);
    send32(c, sum.any);
    send_end(c);
    return F_NONE;
}
