/* Bursts by the core's own means. */
#include "burst.h"
#include "script.h"

#ifdef BD_BURSTS
#include BD_BURSTS
#endif

/* The fields of a request from byte 2 on, to `to`; all at a time, since the line waits for the reply.
 * False: it is malformed. */
static bool fields(bw_core *c, uint8_t *to, uint8_t count, uint16_t starts, uint8_t precharge) {
    uint8_t there = c->in.length < count + 2u ? (uint8_t)(c->in.length - 2) : count, n = there;
    const uint8_t *from = c->ring + line_index(c->in.body, 2);
    uint8_t *at = to;
    for (; n; n--) {
        *at++ = *from++;
        if (from == c->ring + BD_RING) from = c->ring;
    }
    if (there == count) {
        if (c->in.length == count + 2u && to[precharge] < 3) return true;
    } else {
        while (!(starts >> there & 1)) there--;
    }
    if (precharge < there && to[precharge] > 2) there = precharge;
    c->bad_at = (uint16_t)(there + 2);
    return false;
}

uint8_t burst_asked(bw_core *c, bw_words *w, uint8_t bytes, uint16_t starts, uint8_t precharge) {
    const uint8_t *field = w->frame + 2;
    bw_burst *b = &w->burst;
    uint8_t code;
    if (!fields(c, w->frame + 2, bytes, starts, precharge)) return F_MALFORMED;
    code = rail_refusal(c);
    if (code) return code;
    b->shape = shape_get(c, field[2]);
    if (!b->shape) return F_NO_SHAPE;
    b->address = op_long(field + 3);
    b->step = (uint32_t)(int32_t)(int16_t)op_get(field + 7, 2);
    w->count = op_get(field + 9, (uint8_t)(precharge - 9));
    work_whole(c, w->count);
    return span_check(c, b->address, (int16_t)b->step, w->count);
}

void burst_begin(bw_core *c, bw_words *w, uint8_t precharge) {
    bw_burst *b = &w->burst;
    b->charged = w->frame[precharge + 2] != 0;
    b->charge = w->frame[precharge + 2] == 2 ? word_ones(b->shape) : 0;
#ifdef BD_BURSTS
    b->own = bd_burst_begin(c, b);
#endif
    cycle_ready(c);
}

/* A word takes up to 400 us by the longest times of a shape. */
#define SLOW 8

BW_HERE uint8_t burst_some(const bw_burst *b, uint8_t most) {
#ifdef BD_BURSTS
    if (b->own) return most;
#else
    (void)b;
#endif
    return most < SLOW ? most : SLOW;
}

static uint32_t one(bw_core *c, bw_burst *b) {
    uint32_t address = b->address;
    b->address = address + b->step;
    return b->charged ? cycle_read_charged(c, b->shape, address, b->charge)
                      : cycle_read(c, b->shape, address);
}

BW_HERE uint16_t burst_read(bw_core *c, bw_burst *b, uint8_t *to, uint8_t count, uint8_t mode) {
    uint8_t width = b->shape->width, made = 0;
    bool ended = false;
#ifdef BD_BURSTS
    if (b->own) return bd_burst_read(c, b, to, count, mode);
#endif
    while (made < count && !ended) {
        uint32_t word = one(c, b);
        bool equal = mode != READ_ALL;
        made++;
        for (uint8_t n = 0; n < width; n++, word >>= 8, to++) {
            *to = (uint8_t)word;
            if (equal && to[0] != to[-width]) equal = false;
        }
        if (mode == READ_WHILE_EQUAL) {
            ended = !equal;
            to -= width;
        } else {
            ended = equal;
        }
    }
    return ended ? made | READ_ENDED : made;
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
