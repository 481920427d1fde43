/* Bursts by the core's own means. */
#include "burst.h"

#ifdef BD_BURSTS
#include BD_BURSTS
#endif

void burst_begin(bw_core *c, bw_burst *b, bw_shape *s, int16_t step, uint8_t precharge) {
    b->shape = s;
    b->step = (uint32_t)(int32_t)step;
    b->charged = precharge != 0;
    b->charge = precharge == 2 ? word_ones(s) : 0;
#ifdef BD_BURSTS
    b->own = bd_burst_begin(c, b);
#endif
    cycle_ready(c);
}

/* A word takes up to 400 us by the longest times of a shape. */
#define SLOW 8

uint8_t burst_some(const bw_burst *b, uint8_t most) {
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

uint16_t burst_read(bw_core *c, bw_burst *b, uint8_t *to, uint8_t count, uint8_t mode) {
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

void burst_sum(bw_core *c, bw_burst *b, uint8_t count, bw_sum *sum) {
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

void burst_summed(bw_burst *b, bw_sum *sum) {
#ifdef BD_BURSTS
    if (b->own) bd_burst_summed(b, sum);
#else
    (void)b;
    (void)sum;
#endif
}

bool burst_fields(bw_core *c, uint8_t *to, uint8_t count, uint16_t starts, uint8_t precharge) {
    uint8_t there = c->length < count + 2u ? (uint8_t)(c->length - 2) : count, n = there;
    const uint8_t *from = c->ring + line_index(c->body, 2);
    uint8_t *at = to;
    for (; n; n--) {
        *at++ = *from++;
        if (from == c->ring + BD_RING) from = c->ring;
    }
    if (there == count) {
        if (c->length == count + 2u && to[precharge] < 3) return true;
    } else {
        while (!(starts >> there & 1)) there--;
    }
    if (precharge < there && to[precharge] > 2) there = precharge;
    c->bad_at = (uint16_t)(there + 2);
    return false;
}

uint32_t burst_u32(const uint8_t *from) {
    uint32_t value = 0;
    for (uint8_t n = 4; n--;) value = value << 8 | from[n];
    return value;
}
