/* Bursts by assembler, where the shape's times are what they can make, and its word is whole ports. */
#ifndef BD_M2560_BURSTS_H
#define BD_M2560_BURSTS_H

#include <string.h>

M2560_AT(bw_out, tail, 2);
M2560_AT(bw_out, block, 4);
M2560_AT(bw_out, ready, 6);
M2560_AT(bw_out, crc, 8);
M2560_AT(bw_out, code, 12);
M2560_AT(bw_coded, block, 4);
M2560_AT(bw_coded, left, 5);

uint16_t m2560_read(bd_burst *b, uint8_t *to, uint8_t count, uint8_t mode, bw_out *out);
void m2560_sum(bd_burst *b, bw_sum *sum, uint8_t count, uint8_t mode, uint8_t *last);

uint16_t m2560_sweep(bd_sweep *s, uint8_t count);

/* Levels of port G in the first phases of a shape; and is none of its times longer than these? */
void m2560_levels(bw_core *c, const bw_shape *s, uint8_t *to, uint8_t count);
bool m2560_within(const bw_shape *s, const uint8_t *longest);

/* Periods that pass in any case, by what stands between two changes of the lines. */
#define M2560_SETUP 20
#define M2560_PULSE 40
#define M2560_HOLD 5
#define M2560_RECOVER 6
#define M2560_RELEASE 12

#define M2560_REACH 0xFFFFFFul

/* Of a mode, beside those of core/burst.h. */
#define M2560_RUN 0x04
#define M2560_SHORT 0x08
#define M2560_PAIR 0x20
#define M2560_NARROW 0x40
#define M2560_CHARGED 0x80

static const uint8_t m2560_longest[5] BD_ROM = {
    M2560_SETUP + 2, M2560_PULSE, M2560_HOLD + 2, M2560_RECOVER + 2, M2560_RELEASE + 2,
};
/* For times that are shorter still there are loops of their own. */
static const uint8_t m2560_shortest[5] BD_ROM = {2 + 2, M2560_PULSE, 5 + 2, 3 + 2, 4 + 2};

static bool m2560_fits(const bw_shape *s) {
    return !(s->first & 7) && !s->drives_read && m2560_within(s, m2560_longest);
}

/* Where the ports of a word of one byte or two begin. */
static uint8_t m2560_port(const bw_shape *s) {
    return (uint8_t)(_SFR_MEM_ADDR(PINA) + s->first / 8 * 3);
}

static BD_HERE bool bd_burst_begin(bw_core *c, bw_burst *burst) {
    const bw_shape *s = burst->shape;
    bd_burst *b = &burst->bd;
    bool upwards = burst->step == 1;
    if (!m2560_fits(s)) return false;
    memcpy(b->address, &burst->address, 3); /* low bytes first, as this part has them */
    memcpy(b->step, &burst->step, 3);
    m2560_levels(c, s, b->levels, 3);
    b->level = (uint8_t)burst->charge;
    b->settle = m2560_loops(s->waits[SETUP] - 2, 4);
    b->pulse = m2560_loops(s->waits[PULSE], 1);
    b->primed = 0;
    b->port = m2560_port(s);
    b->mode = burst->charged ? M2560_CHARGED : 0;
    if (s->width != 4) {
        b->mode |= s->width == 2 ? M2560_NARROW | M2560_RUN | M2560_PAIR : M2560_NARROW | M2560_RUN;
    } else if (upwards && burst->charged && !b->level && m2560_within(s, m2560_shortest))
        b->mode |= M2560_RUN | M2560_SHORT;
    return true;
}

static BD_HERE uint16_t bd_burst_read(bw_core *c, bw_burst *burst, uint8_t *to, uint8_t count,
                                      uint8_t mode) {
    uint8_t how = burst->bd.mode | mode;
    if (!(how & M2560_NARROW)) {
        if (mode != READ_WHILE_EQUAL) how &= (uint8_t)~M2560_RUN;
        if (mode == READ_ALL) how &= (uint8_t)~M2560_SHORT;
    }
    c->was_read = 1;
    return m2560_read(&burst->bd, to, count, how, &c->out);
}

/* Of words of four bytes the checksum of each is reckoned during the next, so the first comes by way of
 * READ; others are read first. */
static inline void bd_burst_sum(bw_core *c, bw_burst *burst, uint8_t count, bw_sum *sum) {
    bd_burst *b = &burst->bd;
    c->was_read = 1;
    if (b->mode & M2560_NARROW) {
        uint8_t width = burst->shape->width, *words = c->scratch + 4;
        m2560_read(b, words, count, b->mode, &c->out);
        sum->crc = crc_bytes(sum->crc, words, (uint16_t)count * width);
        do {
            width--;
            ((uint8_t *)&sum->all)[width] &= b->found[width];
            ((uint8_t *)&sum->any)[width] |= b->found[2 + width];
        } while (width);
        return;
    }
    if (!b->primed) {
        m2560_read(b, b->last, 1, b->mode & M2560_CHARGED, &c->out);
        memcpy(&sum->all, b->last, 4);
        sum->any = sum->all;
        b->primed = 1;
        count--;
    }
    if (count) m2560_sum(b, sum, count, b->mode, b->last);
}

static BD_HERE void bd_burst_summed(bw_burst *burst, bw_sum *sum) {
    if (burst->bd.primed) sum->crc = crc_bytes(sum->crc, burst->bd.last, 4);
}

/* All lines of the word, every write within the window of the permit, and times as above. */
static inline bool bd_sweep_begin(bw_core *c, bd_sweep *b, const uint8_t *op) {
    const bw_run *r = BW_NEAR(&c->run);
    const bw_shape *s = shape_at(c, r->shape);
    uint8_t operations = op[1] & 15, all = (uint8_t)((1u << operations) - 1), inverse;
    uint32_t to = r->b + (r->n - 1);
    if (!m2560_fits(s) || s->drives_write || s->waits[HOLD] > 4) return false;
    if (word_ones(s) & ~r->mask || to < r->b || to > M2560_REACH) return false;
    if (op[2] && (!s->writes || !permit_window(c, r->shape, r->b, to))) return false;
    inverse = op[3] > all >> 1; /* the last of them */
    b->step[0] = op[1] & 0x80 ? 0xFF : 1;
    b->step[1] = op[1] & 0x80 ? 0xFF : 0;
    m2560_levels(c, s, b->levels, 5);
    b->settle = m2560_loops(s->waits[SETUP] - 2, 1);
    b->read_pulse = m2560_loops(s->waits[PULSE], 2);
    b->write_pulse = m2560_loops(s->waits[PULSE] - 2, 2);
    b->writes = op[2];
    b->operations = operations;
    /* Before which operations the value turns; before the first it is that of the last. */
    b->turns = (uint8_t)(op[3] ^ (op[3] << 1 | inverse)) & all;
    b->charged = !(op[1] & 0x40);
    b->port = s->width == 4 ? 0 : m2560_port(s);
    b->pair = s->width == 2;
    for (uint8_t n = 0; n < 4; n++) b->value[n] = op[4 + n] ^ (inverse ? 0xFF : 0);
    return true;
}

static BD_HERE uint16_t bd_sweep_run(bw_core *c, bd_sweep *b, uint32_t address, uint8_t count) {
    memcpy(b->address, &address, 3);
    c->was_read = 1; /* or not: then a wait more */
    return m2560_sweep(b, count);
}

static BD_HERE uint32_t bd_sweep_got(const bd_sweep *b) {
    uint32_t got;
    memcpy(&got, b->got, 4);
    return got;
}

#endif
