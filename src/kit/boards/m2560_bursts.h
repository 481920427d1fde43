/* Bursts of 32-bit words by assembler, where the shape's times are what they can make. */
#ifndef BD_M2560_BURSTS_H
#define BD_M2560_BURSTS_H

uint16_t m2560_read(bd_burst *b, uint8_t *to, uint8_t count, uint8_t mode, bw_out *out);
void m2560_sum(bd_burst *b, bw_sum *sum, uint8_t count, uint8_t mode, uint8_t *last);

uint16_t m2560_sweep(bd_sweep *s, uint8_t count);

/* Periods that pass in any case, by what stands between two changes of the lines. */
#define M2560_SETUP 20
#define M2560_PULSE 40
#define M2560_HOLD 5
#define M2560_RECOVER 7
#define M2560_RELEASE 12

#define M2560_REACH 0xFFFFFFul

static inline bool m2560_fits(const bw_shape *s) {
    const bd_wait_t *wait = s->waits;
    return s->width == 4 && !s->drives_read && wait[SETUP] <= M2560_SETUP + 2 &&
           wait[PULSE] <= M2560_PULSE && wait[HOLD] <= M2560_HOLD + 2 &&
           wait[RECOVER] <= M2560_RECOVER + 2 && wait[RELEASE] <= M2560_RELEASE + 2;
}

/* Loops of three periods, where `passed` pass in any case. */
static inline uint8_t m2560_loops(bd_wait_t periods, uint8_t passed) {
    return periods < (bd_wait_t)(passed + 4) ? 1 : (uint8_t)((periods - passed + 2) / 3);
}

static inline bool bd_burst_begin(bw_core *c, bw_burst *burst) {
    const bw_shape *s = burst->shape;
    bd_burst *b = &burst->bd;
    uint32_t address = burst->address, step = burst->step;
    uint8_t driven = levels_held(c).mask;
    if (!m2560_fits(s)) return false;
    for (uint8_t n = 0; n < 3; n++) {
        b->address[n] = (uint8_t)(address >> 8 * n);
        b->step[n] = (uint8_t)(step >> 8 * n);
    }
    b->idle = s->image_idle & driven;
    b->setup = s->image_read_setup & driven;
    b->strobe = s->image_read & driven;
    b->level = (uint8_t)burst->charge;
    b->settle = m2560_loops(s->waits[SETUP] - 2, 4);
    b->pulse = m2560_loops(s->waits[PULSE], 1);
    b->primed = 0;
    b->mode = burst->charged ? 0x80 : 0;
    return true;
}

static inline uint8_t bd_burst_read(bw_core *c, bw_burst *burst, uint8_t *to, uint8_t count, uint8_t mode,
                             bool *ended) {
    uint16_t made = m2560_read(&burst->bd, to, count, burst->bd.mode | mode, &c->out);
    c->was_read = 1;
    *ended = made >> 8;
    return (uint8_t)made;
}

/* The checksum of each word is reckoned during the next, so the first comes by way of READ. */
static inline void bd_burst_sum(bw_core *c, bw_burst *burst, uint8_t count, bw_sum *sum) {
    bd_burst *b = &burst->bd;
    if (!b->primed) {
        m2560_read(b, b->last, 1, b->mode, &c->out);
        for (uint8_t n = 0; n < 4; n++) {
            ((uint8_t *)&sum->all)[n] = b->last[n];
            ((uint8_t *)&sum->any)[n] = b->last[n];
        }
        b->primed = 1;
        count--;
    }
    if (count) m2560_sum(b, sum, count, b->mode, b->last);
    c->was_read = 1;
}

static inline void bd_burst_summed(bw_burst *burst, bw_sum *sum) {
    if (burst->bd.primed)
        for (uint8_t n = 0; n < 4; n++) sum->crc = crc_byte(sum->crc, burst->bd.last[n]);
}

/* All lines of the word, every write within the window of the permit, and times as above. */
static inline bool bd_sweep_begin(bw_core *c, bd_sweep *b, const uint8_t *op) {
    const bw_run *r = &c->run;
    const bw_shape *s = &c->shape[r->shape];
    const bw_permit *p = &c->permit[r->shape];
    uint8_t driven = levels_held(c).mask, operations = op[1] & 15;
    uint8_t last = op[3] >> (operations - 1) & 1;
    if (!m2560_fits(s) || s->drives_write || r->mask != 0xFFFFFFFFu) return false;
    if (s->waits[HOLD] > 4) return false;
    if (r->b > M2560_REACH || r->n - 1 > M2560_REACH - r->b) return false;
    if (op[2] && (!s->writes || !permit_covers(c, r->shape, r->b, 0xFFFFFFFFu) ||
                  r->b < p->start || r->b - p->start >= p->words ||
                  r->n > p->words - (r->b - p->start)))
        return false;
    b->step[0] = op[1] & 0x80 ? 0xFF : 1;
    b->step[1] = op[1] & 0x80 ? 0xFF : 0;
    b->idle = s->image_idle & driven;
    b->read_setup = s->image_read_setup & driven;
    b->read = s->image_read & driven;
    b->write_setup = s->image_write_setup & driven;
    b->write = s->image_write & driven;
    b->settle = m2560_loops(s->waits[SETUP] - 2, 1);
    b->read_pulse = m2560_loops(s->waits[PULSE], 2);
    b->write_pulse = m2560_loops(s->waits[PULSE] - 2, 2);
    b->writes = op[2];
    b->operations = operations;
    /* Before which operations the value turns; before the first it is that of the last. */
    b->turns = (uint8_t)(op[3] ^ (op[3] << 1 | last)) & (uint8_t)((1u << operations) - 1);
    b->charged = !(op[1] & 0x40);
    for (uint8_t n = 0; n < 4; n++) b->value[n] = op[4 + n] ^ (last ? 0xFF : 0);
    return true;
}

static inline uint16_t bd_sweep_run(bw_core *c, bd_sweep *b, uint32_t address, uint8_t count) {
    for (uint8_t n = 0; n < 3; n++) b->address[n] = (uint8_t)(address >> 8 * n);
    c->was_read = 1; /* or not: then a wait more */
    return m2560_sweep(b, count);
}

static inline uint32_t bd_sweep_got(const bd_sweep *b) {
    return (uint32_t)b->got[0] | (uint32_t)b->got[1] << 8 | (uint32_t)b->got[2] << 16 |
           (uint32_t)b->got[3] << 24;
}

#endif
