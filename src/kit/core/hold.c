/* HOLD: one cycle kept still. REPEAT: one again and again. */
#include "parts.h"

#define PLACE_AT 2

void hold_release(bw_core *c) {
    if (!c->holding) return;
    c->holding = 0;
    cycle_end_strobe(c, &c->shape[c->hold_slot], c->hold_write);
}

/* What HOLD and REPEAT check alike, after the chain. */
static uint8_t check(bw_core *c, uint8_t slot, uint32_t first, uint32_t second, bool write) {
    bw_shape *s = shape_get(c, slot);
    if (rail_refusal(c)) return rail_refusal(c);
    if (!s) return F_NO_SHAPE;
    if (span_check(c, first, 0, 1) || span_check(c, second, 0, 1)) return F_BEYOND;
    if (write && (!s->writes || !permit_covers(c, slot, first, word_ones(s))))
        return fault_of(c, F_NOT_PERMITTED, first);
    return F_NONE;
}

uint8_t serve_hold(bw_core *c) {
    uint8_t echo[24], slot, code;
    uint32_t address, value, data, request;
    bw_place place;
    bw_shape *s;
    bw_kept *k = 0;
    bool write;
    chain_place(c, &place);
    slot = take8(c);
    write = take_flag(c);
    address = take32(c);
    value = take32(c);
    if (!take_end(c)) return F_MALFORMED;
    if (!write && (place.session | place.chain | place.id | place.after | value)) {
        take_bad(c, PLACE_AT);
        return F_MALFORMED;
    }
    request = chain_sum(c);
    for (uint8_t n = 0; n < 24; n++) echo[n] = line_u8(c, (uint16_t)(n + 2));
    if (write) {
        code = chain_judge(c, &place, request, &k);
        if (code) return code;
        if (k) {
            chain_answer(c, k);
            return F_NONE;
        }
    }
    code = check(c, slot, address, address, write);
    if (code) return code;
    s = &c->shape[slot];
    cycle_ready(c);
    cycle_strobe(c, s, address, write, value & word_ones(s), false);
    c->holding = 1;
    c->hold_slot = slot;
    c->hold_write = write;
    data = bd_data_in(&c->bd) & (word_ones(s) << s->first);
    if (write) {
        k = chain_begin(c, &place, request);
        k->shape = slot;
        k->address = address;
        k->value = value;
        k->d = data;
        chain_end(c, k, E_GOOD);
    }
    reply_body(c, echo, 24);
    send32(c, data);
    send_end(c);
    return F_NONE;
}

static void mark(bw_core *c, bool active) {
    if (BD_HAS_MARK) bd_mark(&c->bd, active);
}

static uint32_t once(bw_core *c, const bw_shape *s, uint32_t address, bool write, uint32_t value,
                     uint8_t marked) {
    uint32_t bus;
    if (marked == 0) {
        if (!write) return cycle_read(c, s, address);
        cycle_write(c, s, address, value);
        return value;
    }
    if (marked == 1) mark(c, true);
    cycle_strobe(c, s, address, write, value, marked == 2);
    bus = bd_data_in(&c->bd) >> s->first & word_ones(s);
    if (marked == 2) mark(c, false);
    cycle_end_strobe(c, s, write);
    mark(c, false);
    return write ? value : bus;
}

uint8_t serve_repeat(bw_core *c) {
    bw_place place;
    bw_kept *k;
    bw_shape *s;
    uint32_t address, change, value, value_change, gap, count, request, since, ones;
    uint8_t slot, marked, code, why = E_GOOD;
    bool write;
    chain_place(c, &place);
    slot = take8(c);
    write = take_flag(c);
    address = take32(c);
    change = take32(c);
    value = take32(c);
    value_change = take32(c);
    gap = take32(c);
    count = take32(c);
    marked = take_below(c, 3);
    if (!take_end(c)) return F_MALFORMED;
    request = chain_sum(c);
    code = chain_judge(c, &place, request, &k);
    if (code) return code;
    if (k) {
        chain_answer(c, k);
        return F_NONE;
    }
    code = check(c, slot, address, address ^ change, write);
    if (code) return code;
    if (marked && !BD_HAS_MARK) return fault_of(c, F_LINE, 3 | 2 << 8);
    s = &c->shape[slot];
    ones = word_ones(s);
    permit_keep(c);
    k = chain_begin(c, &place, request);
    c->run.kept = k;
    k->done = k->d = 0;
    c->work_whole = count;
    cycle_ready(c);
    gap = gap > 0x7FFFFFFFu / BD_TICKS ? 0x7FFFFFFFu : gap * BD_TICKS;
    while (breathe(c)) {
        if (write && !permit_covers(c, slot, address, ones)) {
            why = E_NOT_PERMITTED;
            break;
        }
        k->d = once(c, s, address, write, value & ones, marked);
        if (k->done != 0xFFFFFFFFu) k->done++;
        c->work_done = k->done;
        address ^= change;
        value ^= value_change;
        if (count && k->done >= count) break;
        since = bd_now(&c->bd);
        while (bd_now(&c->bd) - since < gap && breathe(c)) {}
    }
    c->run_permits_on = 0;
    if (why == E_GOOD && !(count && k->done >= count)) why = c->cause;
    chain_end(c, k, why);
    if (!c->silent) chain_answer(c, k);
    return F_NONE;
}
