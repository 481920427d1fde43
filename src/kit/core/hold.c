/* HOLD: one cycle kept still. REPEAT: one again and again. */
#include <stddef.h>

#include "parts.h"

#define PLACE_AT 2
#define PLACE_END 16

typedef struct {
    bw_place place;
    uint32_t address, change, value, value_change, gap, count;
    uint8_t slot, write, marked;
} asked;

static const bw_field hold_row[] BD_ROM = {
    {FIELD_8, offsetof(asked, slot)}, {FIELD_FLAG, offsetof(asked, write)},
    {FIELD_32, offsetof(asked, address)}, {FIELD_32, offsetof(asked, value)},
};
static const bw_field repeat_row[] BD_ROM = {
    {FIELD_8, offsetof(asked, slot)}, {FIELD_FLAG, offsetof(asked, write)},
    {FIELD_32, offsetof(asked, address)}, {FIELD_32, offsetof(asked, change)},
    {FIELD_32, offsetof(asked, value)}, {FIELD_32, offsetof(asked, value_change)},
    {FIELD_32, offsetof(asked, gap)}, {FIELD_32, offsetof(asked, count)},
    {3, offsetof(asked, marked)},
};

void hold_release(bw_core *c) {
    if (!c->holding) return;
    c->holding = 0;
    cycle_end_strobe(c, shape_at(c, c->hold_slot), c->hold_write);
}

void bus_release(bw_core *c) {
    hold_release(c);
    lines_release(c);
}

static bool may_write(bw_core *c, const asked *a) {
    return !a->write || permit_covers(c, a->slot, a->address, word_ones(shape_at(c, a->slot)));
}

/* What HOLD and REPEAT check alike, after the chain. Values are cut to the word. */
static uint8_t check(bw_core *c, asked *a) {
    const bw_shape *s = shape_get(c, a->slot);
    uint8_t code = rail_refusal(c);
    uint32_t ones;
    if (code) return code;
    if (!s) return F_NO_SHAPE;
    if (reach_check(c, a->address) || reach_check(c, a->address ^ a->change)) return F_BEYOND;
    if (!may_write(c, a) || (a->write && !s->writes)) return fault_of(c, F_NOT_PERMITTED, a->address);
    ones = word_ones(s);
    a->value &= ones;
    a->value_change &= ones;
    return F_NONE;
}

uint8_t serve_hold(bw_core *c) {
    asked a;
    bw_kept *k;
    const bw_shape *s;
    uint32_t data, given;
    uint8_t code, any = 0;
    chain_place(c, &a.place);
    code = take_all(c, &a, ROW_OF(hold_row));
    if (code) return code;
    given = a.value;
    a.change = a.value_change = 0;
    if (a.write) {
        code = chain_judge(c, &a.place);
        if (code) return code;
    } else {
        for (uint8_t n = PLACE_AT; n < PLACE_END; n++) any |= line_u8(c, n);
        if (any || given) {
            take_bad(c, PLACE_AT);
            return F_MALFORMED;
        }
    }
    code = check(c, &a);
    if (code) return code;
    s = shape_at(c, a.slot);
    cycle_ready(c);
    cycle_strobe(c, s, a.address, a.write, a.value, false);
    c->holding = 1;
    c->hold_slot = a.slot;
    c->hold_write = a.write;
    data = bd_data_in(&c->bd) & word_lines(s);
    if (a.write) {
        k = chain_begin(c, &a.place);
        k->shape = a.slot;
        k->write = 1;
        k->address = a.address;
        k->value = given;
        k->d = data;
        chain_end(c, k, E_GOOD);
    }
    reply_echo(c, 24);
    send32(c, data);
    send_end(c);
    return F_NONE;
}

static BW_HERE void mark(bw_core *c, bool active) {
    if (BD_HAS_MARK) bd_mark(&c->bd, active);
}

/* One cycle; the word that it wrote or read. */
static BW_HERE uint32_t once(bw_core *c, const asked *a) {
    const bw_shape *s = shape_at(c, a->slot);
    uint32_t word;
    if (a->marked == 0) {
        if (!a->write) return cycle_read(c, s, a->address);
        cycle_write(c, s, a->address, a->value);
        return a->value;
    }
    if (a->marked == 1) mark(c, true);
    cycle_strobe(c, s, a->address, a->write, a->value, a->marked == 2);
    word = bd_data_in(&c->bd) >> s->first & word_ones(s);
    if (a->marked == 2) mark(c, false);
    cycle_end_strobe(c, s, a->write);
    mark(c, false);
    return a->write ? a->value : word;
}

uint8_t serve_repeat(bw_core *c) {
    asked a;
    bw_kept *k;
    uint32_t since;
    uint8_t code;
    chain_place(c, &a.place);
    code = take_all(c, &a, ROW_OF(repeat_row));
    if (!code) code = chain_judge(c, &a.place);
    if (!code) code = check(c, &a);
    if (code) return code;
    if (a.marked && !BD_HAS_MARK) return fault_of(c, F_LINE, 3 | 2 << 8);
    permit_keep(c);
    k = chain_begin(c, &a.place);
    c->work.whole = a.count;
    cycle_ready(c);
    a.gap = us_ticks(a.gap);
    /* Why it ends; until then E_AT_WORK. */
    for (code = E_AT_WORK; code == E_AT_WORK;) {
        if (!breathe(c)) {
            code = c->work.cause;
        } else if (!may_write(c, &a)) {
            code = E_NOT_PERMITTED;
        } else {
            k->d = once(c, &a);
            count_on(&k->done, 1);
            c->work.done = k->done;
            a.address ^= a.change;
            a.value ^= a.value_change;
            since = bd_now(&c->bd);
            if (k->done == a.count) {
                code = E_GOOD;
            } else {
                while (bd_now(&c->bd) - since < a.gap && breathe(c)) {}
            }
        }
    }
    c->run_permits_on = 0;
    chain_end(c, k, code);
    if (!c->work.silent) chain_answer(c, k);
    return F_NONE;
}
