/* Sweeps: march elements. */
#include "script.h"

#ifdef BD_BURSTS
#include "burst.h"
#include BD_BURSTS

/* Operations between two looks at everything else. */
#define IN_A_ROW 240
#endif

static void record(bw_core *c, uint16_t most, uint32_t expected, uint32_t got) {
    bw_kept *k = c->run.kept;
    uint8_t *to;
    k->mismatches++;
    if (c->run.recorded >= most || k->listed >= k->listed_room) return;
    c->run.recorded++;
    to = k->pool + BD_POOL - 12u * ++k->listed;
    for (uint8_t n = 0; n < 4; n++) {
        to[n] = (uint8_t)(c->run.a >> 8 * n);
        to[n + 4] = (uint8_t)(expected >> 8 * n);
        to[n + 8] = (uint8_t)(got >> 8 * n);
    }
}

/* The address that is next. */
static uint32_t place(const bw_run *r, const uint8_t *op) {
    return op[1] & 0x80 ? r->b + (r->left - 1) : r->b + (r->n - r->left);
}

#ifdef BD_BURSTS
/* Addresses that the board makes in a row. Returns the operation to go on with: those before it are
 * made at the address that is next, if there is one. */
static uint8_t in_a_row(bw_core *c, const uint8_t *op) {
    bw_run *r = &c->run;
    uint8_t operations = op[1] & 15, most = (uint8_t)(IN_A_ROW / operations), rest, done;
    uint16_t made;
    if (r->left < most) most = (uint8_t)r->left;
    made = bd_sweep_run(c, &r->sweep, place(r, op), most);
    done = (uint8_t)made;
    rest = (uint8_t)(made >> 8);
    c->work_done += (uint16_t)done * operations;
    /* At work: the last that was done, or the one that is not done yet. */
    r->left -= rest ? done : done - 1u;
    r->a = place(r, op);
    if (op[2] != (uint8_t)((1u << operations) - 1)) r->d = bd_sweep_got(&r->sweep);
    if (!rest) return operations;
    c->work_done += (uint8_t)(operations - rest + 1);
    record(c, (uint16_t)op_get(op + 8, 2),
           op[3] >> (operations - rest) & 1 ? ~op_get(op + 4, 4) : op_get(op + 4, 4), r->d);
    return (uint8_t)(operations - rest + 1);
}
#endif

uint8_t sweep_begin(bw_core *c, const uint8_t *op) {
    c->run.left = c->run.n;
#ifdef BD_BURSTS
    c->run.own = env_width(c, c->run.shape) && bd_sweep_begin(c, &c->run.sweep, op);
#else
    (void)op;
#endif
    return env_width(c, c->run.shape) ? E_GOOD : E_NO_SHAPE;
}

uint8_t sweep_address(bw_core *c, const uint8_t *op, bool *more) {
    bw_run *r = &c->run;
    uint32_t ones = run_ones(c), mask = r->mask & ones, background = op_get(op + 4, 4);
    uint8_t operations = op[1] & 15, n = 0;
    if (r->left == r->n) r->recorded = 0;
#ifdef BD_BURSTS
    if (r->own) n = in_a_row(c, op);
#endif
    r->a = place(r, op);
    for (; n < operations; n++) {
        uint32_t value = (op[3] >> n & 1 ? ~background : background) & ones;
        if (op[2] >> n & 1) {
            uint8_t why = run_write(c, r->a, value);
            if (why) return why;
            continue;
        }
        if (!env_powered(c)) return E_POWER_LOST;
        r->d = op[1] & 0x40 ? env_read(c, r->shape, r->a)
                            : env_read_charged(c, r->shape, r->a, ~value & ones);
        if ((r->d ^ value) & mask) record(c, (uint16_t)op_get(op + 8, 2), value & mask, r->d);
    }
    if (--r->left) *more = true;
    return E_GOOD;
}
