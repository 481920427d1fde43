/* DIGEST: checksum, AND and OR of many words, made here. */
#include <stddef.h>

#include "burst.h"

/* Words between two pauses; each is short against every time that is kept. */
#define SLICE 128

static const bw_field fields[] BD_ROM = {
    {FIELD_16, offsetof(bw_words, nonce)}, {FIELD_8, offsetof(bw_words, slot)},
    {FIELD_32, offsetof(bw_words, address)}, {FIELD_16, offsetof(bw_words, step)},
    {FIELD_32, offsetof(bw_words, count)}, {3, offsetof(bw_words, precharge)},
};
static const bw_field found[] BD_ROM = {
    {FIELD_32, offsetof(bw_sum, crc)}, {FIELD_32, offsetof(bw_sum, all)},
    {FIELD_32, offsetof(bw_sum, any)},
};

uint8_t serve_digest(bw_core *c) {
    bw_words w;
    bw_burst burst;
    bw_sum sum;
    uint8_t code = burst_asked(c, &w, ROW_OF(fields));
    if (code) return code;
    burst_begin(c, &burst, &w);
    sum.crc = CRC_START;
    sum.all = word_ones(burst.shape);
    sum.any = 0;
    while (w.count) {
        uint8_t slice = w.count < SLICE ? (uint8_t)w.count : SLICE;
        if (!breathe_short(c)) return work_fault(c);
        burst_sum(c, &burst, slice, &sum);
        w.count -= slice;
        c->work.done += slice;
    }
    burst_summed(&burst, &sum);
    if (!breathe(c)) return work_fault(c);
    sum.crc = crc_done(sum.crc);
    reply_echo(c, 14);
    send_row(c, &sum, ROW_OF(found));
    send_end(c);
    return F_NONE;
}
