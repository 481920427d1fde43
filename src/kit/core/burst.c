/* Bursts by the core's own means. */
#include "burst.h"

#ifdef BD_BURSTS
#include BD_BURSTS
#endif

uint8_t burst_asked(bw_core *c, bw_words *w, const bw_field *row, uint8_t fields) {
    uint8_t code;
    w->few = 0;
    code = take_all(c, w, row, fields);
    if (w->few) w->count = w->few;
    if (!code) code = rail_refusal(c);
    if (code) return code;
    if (!shape_get(c, w->slot)) return F_NO_SHAPE;
    work_whole(c, w->count);
    return span_check(c, w->address, w->step, w->count);
}

void burst_begin(bw_core *c, bw_burst *b, const bw_words *w) {
    const bw_shape *s = shape_at(c, w->slot);
    b->shape = s;
    b->address = w->address;
    b->step = (uint32_t)(int32_t)w->step;
    b->charged = w->precharge != 0;
    b->charge = w->precharge == 2 ? word_ones(s) : 0;
#ifdef BD_BURSTS
    b->own = bd_burst_begin(c, b);
#endif
    cycle_ready(c);
}

static uint32_t one(bw_core *c, bw_burst *b) {
    uint32_t address = b->address;
    b->address = address + b->step;
    return b->charged ? cycle_read_charged(c, b->shape, address, b->charge)
                      : cycle_read(c, b->shape, address);
}

BW_HERE uint8_t burst_read(bw_core *c, bw_burst *b, uint8_t *to, uint8_t count, uint8_t mode,
                           bool *ended) {
    uint8_t width = b->shape->width, made = 0;
    *ended = false;
#ifdef BD_BURSTS
    if (b->own) return bd_burst_read(c, b, to, count, mode, ended);
#endif
    while (made < count && !*ended) {
        uint32_t word = one(c, b);
        bool equal = mode != READ_ALL;
        made++;
        for (uint8_t n = 0; n < width; n++, word >>= 8, to++) {
            *to = (uint8_t)word;
            if (equal && to[0] != to[-width]) equal = false;
        }
        if (mode == READ_WHILE_EQUAL) {
            *ended = !equal;
            to -= width;
        } else {
            *ended = equal;
        }
    }
    return made;
}

BW_HERE void burst_sum(bw_core *c, bw_burst *b, uint8_t count, bw_sum *sum) {
    uint8_t width = b->shape->width;
#ifdef BD_BURSTS
    if (b->own) {
        bd_burst_sum(c, b, count, sum);
        return;
    }
#endif
    while (count--) {
        uint32_t word = one(c, b);
        sum->all &= word;
        sum->any |= word;
        for (uint8_t n = 0; n < width; n++, word >>= 8) sum->crc = crc_byte(sum->crc, (uint8_t)word);
    }
}

BW_HERE void burst_summed(bw_burst *b, bw_sum *sum) {
#ifdef BD_BURSTS
    if (b->own) bd_burst_summed(b, sum);
#else
    (void)b;
    (void)sum;
#endif
}
