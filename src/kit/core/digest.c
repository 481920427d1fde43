/* DIGEST: checksum, AND and OR of many words, made here. */
#include <stddef.h>

#include "burst.h"

/* Words between two pauses; each is short against every time that is kept. */
#define SLICE 128

/* Bytes of a request: nonce, slot, address, step, count, precharge; and those that begin a field. */
#define BYTES 14
#define STARTS 0x228D
#define PRECHARGE 13

static const bw_field found[] BD_ROM = {
    {FIELD_32, offsetof(bw_sum, crc)}, {FIELD_32, offsetof(bw_sum, all)},
    {FIELD_32, offsetof(bw_sum, any)},
};

uint8_t serve_digest(bw_core *c) {
    bw_words w;
    bw_sum sum;
    uint8_t code = burst_asked(c, &w, BYTES, STARTS, PRECHARGE);
    if (code) return code;
    burst_begin(c, &w, PRECHARGE);
    sum.crc = CRC_START;
    sum.all = word_ones(w.burst.shape);
    sum.any = 0;
    while (w.count) {
        uint8_t slice = burst_some(&w.burst, w.count < SLICE ? (uint8_t)w.count : SLICE);
        if (!breathe_short(c)) return work_fault(c);
        burst_sum(c, &w.burst, slice, &sum);
        w.count -= slice;
        count_on(&c->work.done, slice);
    }
    burst_summed(&w.burst, &sum);
    if (!breathe(c)) return work_fault(c);
    sum.crc = crc_done(sum.crc);
    send_reply(c, w.frame, BYTES + 2);
    send_row(c, &sum, ROW_OF(found));
    send_end(c);
    return F_NONE;
}
