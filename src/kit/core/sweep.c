/* Sweeps: march elements. */
#include "script.h"

#ifdef BD_BURSTS
#include "burst.h"
#include BD_BURSTS

/* Operations between two looks at everything else. */
#define IN_A_ROW 240
#endif

/* What operation `n` writes or expects. */
static uint32_t value_of(const uint8_t *op, uint8_t n) {
    uint32_t background = op_long(op + 4);
    return op[3] >> n & 1 ? ~background : background;
}

static void record(bw_core *c, const uint8_t *op, uint32_t expected) {
    bw_run *r = BW_NEAR(&c->run);
    bw_kept *k = r->kept;
    uint8_t *to;
    count_on(&k->mismatches, 1);
    if (r->recorded >= (uint16_t)op_get(op + 8, 2) || k->listed >= k->listed_room) return;
    r->recorded++;
    to = k->pool + BD_POOL - 12u * ++k->listed;
    op_put(to, r->a);
    op_put(to + 4, expected);
    op_put(to + 8, r->d);
}

/* The address that is next. */
static uint32_t place(const bw_run *r, const uint8_t *op) {
    return r->b + (op[1] & 0x80 ? r->left - 1 : r->n - r->left);
}

#ifdef BD_BURSTS
/* Addresses that the board makes in a row. Returns the operation to go on with: those before it are
 * made at the address that is next, if there is one. */
static BW_HERE uint8_t in_a_row(bw_core *c, const uint8_t *op) {
    bw_run *r = BW_NEAR(&c->run);
    uint8_t operations = op[1] & 15, most = (uint8_t)(IN_A_ROW / operations), rest, done;
    uint32_t ones = run_ones(c);
    uint16_t made;
    if (r->left < most) most = (uint8_t)r->left;
    made = bd_sweep_run(c, &r->sweep, place(r, op), most);
    done = (uint8_t)made;
    rest = (uint8_t)(made >> 8);
    count_on(&c->work.done, (uint16_t)done * operations);
    /* At work: the last that was done, or the one that is not done yet. */
    r->left -= rest ? done : done - 1u;
    r->a = place(r, op);
    if (op[2] != (uint8_t)((1u << operations) - 1)) r->d = bd_sweep_got(&r->sweep) & ones;
    if (!rest) return operations;
    operations -= rest;
    record(c, op, value_of(op, operations++) & ones);
    count_on(&c->work.done, operations);
    return operations;
}
#endif

BW_HERE uint8_t sweep_begin(bw_core *c, const uint8_t *op) {
    bw_run *r = BW_NEAR(&c->run);
    r->left = r->n;
    r->recorded = 0;
    if (!env_width(c, r->shape)) return E_NO_SHAPE;
#ifdef BD_BURSTS
    r->own = bd_sweep_begin(c, &r->sweep, op);
#else
    (void)op;
#endif
    return E_GOOD;
}

BW_HERE uint8_t sweep_address(bw_core *c, const uint8_t *op, bool *more) {
    bw_run *r = BW_NEAR(&c->run);
    uint32_t ones = run_ones(c), value;
    uint8_t operations = op[1] & 15, n = 0;
#ifdef BD_BURSTS
    if (r->own) n = in_a_row(c, op);
#endif
    r->a = place(r, op);
    for (; n < operations; n++) {
        value = value_of(op, n) & ones;
        if (op[2] >> n & 1) {
            uint8_t why = run_write(c, r->a, value);
            if (why) return why;
            continue;
        }
        if (!env_powered(c)) return E_POWER_LOST;
        r->d = op[1] & 0x40 ? env_read(c, r->shape, r->a)
                            : env_read_charged(c, r->shape, r->a, value ^ ones);
        if ((r->d ^ value) & r->mask & ones) record(c, op, value & r->mask);
    }
    if (--r->left) *more = true;
    return E_GOOD;
}
