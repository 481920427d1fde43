/* Sweeps: march elements. */
#include "script.h"

uint8_t sweep_begin(bw_core *c) {
    c->run.left = c->run.n;
    return env_width(c, c->run.shape) ? E_GOOD : E_NO_SHAPE;
}

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

BW_FAST uint8_t sweep_address(bw_core *c, const uint8_t *op, bool *more) {
    bw_run *r = &c->run;
    uint32_t ones = run_ones(c), mask = r->mask & ones, background = op_get(op + 4, 4);
    uint8_t operations = op[1] & 15;
    if (r->left == r->n) r->recorded = 0;
    r->a = op[1] & 0x80 ? r->b + (r->left - 1) : r->b + (r->n - r->left);
    for (uint8_t n = 0; n < operations; n++) {
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
