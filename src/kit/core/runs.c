/* SCRIPT and RUN. */
#include "script.h"

#define N_AT 29
#define LANES_AT 33
#define WIDTH_AT 37
#define PAYLOAD_AT 38
#define REPLY_HEAD 40u

static uint32_t slot_sum(bw_core *c, uint16_t from) {
    uint32_t sum = CRC_START;
    for (; from < c->length; from++) sum = crc_byte(sum, line_u8(c, from));
    return crc_done(sum);
}

/* The limits are those of this moment: shapes may have changed since a script was stored. */
static bw_need check(bw_core *c, const uint8_t *code, uint16_t length, uint32_t n) {
    bw_limits l;
    l.bytes = BD_SCRIPT_BYTES;
    l.emitted = BD_EMIT;
    l.op_ns = BD_OP_NS;
    l.cycle_ns = 0;
    for (uint8_t slot = 0; slot < BD_SHAPES; slot++) {
        const bw_shape *s = &c->shape[slot];
        uint32_t ns = BD_CYCLE_NS;
        if (!s->used) continue;
        for (uint8_t time = 0; time < 5; time++) ns += bd_wait_ns(s->waits[time]);
        /* The charge lasts as long as the set-up. */
        ns += bd_wait_ns(s->waits[0]);
        if (ns > l.cycle_ns) l.cycle_ns = ns;
    }
    return script_check(c, &l, code, length, n);
}

uint8_t serve_script(bw_core *c) {
    uint8_t slot = take8(c);
    uint16_t length = (uint16_t)(c->length - 3);
    bw_script *s;
    bw_need need;
    if (c->bad_at) return F_MALFORMED;
    if (slot >= BD_SCRIPTS) return F_NO_SCRIPT;
    s = &c->script[slot];
    if (length > BD_SCRIPT_BYTES) return fault_of(c, F_SCRIPT_REFUSED, BD_SCRIPT_BYTES);
    if (length == 0) return fault_of(c, F_SCRIPT_REFUSED, 0);
    if (s->length != length || s->checksum != slot_sum(c, 3)) {
        for (uint16_t n = 0; n < length; n++) c->scratch[n] = line_u8(c, (uint16_t)(n + 3));
        need = check(c, c->scratch, length, 1);
        if (need.refused) return fault_of(c, F_SCRIPT_REFUSED, need.at);
        for (uint16_t n = 0; n < length; n++) s->code[n] = c->scratch[n];
        s->length = length;
        s->checksum = slot_sum(c, 3);
    }
    reply_begin(c);
    send8(c, slot);
    send32(c, s->checksum);
    send_end(c);
    return F_NONE;
}

/* Every shape that the text writes with has a permit. */
static bool permitted(bw_core *c, const uint8_t *code, uint16_t length) {
    uint8_t slot = 0;
    for (uint16_t at = 0; at < length; at = (uint16_t)(at + op_length(code[at]))) {
        uint8_t op = code[at];
        if (op == 0x10) slot = code[at + 1];
        if (((op >= 0x30 && op <= 0x39) || (op == 0x70 && code[at + 2])) && !permit_lives(c, slot))
            return false;
    }
    return true;
}

static void at_work(bw_core *c, bw_kept *k) {
    bw_run *r = &c->run;
    permit_keep(c);
    cycle_ready(c);
    run_begin(c);
    for (;;) {
        uint8_t step = run_step(c);
        if (step == STEP_DONE) break;
        if (step == STEP_WAITS ? breathe(c) : breathe_short(c)) continue;
        if (c->work.cause == E_POWER_LOST) {
            run_lose_power(c);
        } else {
            run_stop(c, c->work.cause);
        }
        if (r->ended) break;
    }
    c->run_permits_on = 0;
    k->at = r->end_at;
    for (uint8_t n = 0; n < 4; n++) k->lane[n] = r->lane[n];
    k->a = r->a;
    k->d = r->d;
    k->elapsed = (r->seen - r->began) / BD_TICKS;
}

uint8_t serve_run(bw_core *c) {
    bw_run *r = &c->run;
    bw_place place;
    bw_kept *k;
    bw_script *s;
    bw_need need;
    uint32_t meant;
    uint16_t bytes, room;
    uint8_t slot, code;
    chain_place(c, &place);
    slot = take8(c);
    meant = take32(c);
    r->a = take32(c);
    r->b = take32(c);
    r->n = take32(c);
    r->mask = take32(c);
    r->pay_width = take8(c);
    if (r->pay_width != 1 && r->pay_width != 2 && r->pay_width != 4) take_bad(c, WIDTH_AT);
    if (c->bad_at) return F_MALFORMED;
    if (c->length < PAYLOAD_AT + 4) {
        take_bad(c, c->length < PAYLOAD_AT ? WIDTH_AT : PAYLOAD_AT);
        return F_MALFORMED;
    }
    bytes = (uint16_t)(c->length - PAYLOAD_AT - 4);
    if (bytes % r->pay_width) {
        take_bad(c, PAYLOAD_AT);
        return F_MALFORMED;
    }
    if (line_u32(c, (uint16_t)(c->length - 4)) != place.request) {
        take_bad(c, (uint16_t)(c->length - 4));
        return F_MALFORMED;
    }
    code = chain_judge(c, &place);
    if (code) return code;
    if (rail_refusal(c)) return rail_refusal(c);
    if (slot >= BD_SCRIPTS || !c->script[slot].length) return F_NO_SCRIPT;
    s = &c->script[slot];
    if (s->checksum != meant) return fault_of(c, F_ANOTHER_SCRIPT, s->checksum);
    need = check(c, s->code, s->length, 1);
    if (need.refused) return fault_of(c, F_SCRIPT_REFUSED, need.at);
    if (need.uses_n && r->n == 0) take_bad(c, N_AT);
    if (r->mask == 0) take_bad(c, LANES_AT);
    if (c->bad_at) return F_MALFORMED;
    if (need.uses_n) need = check(c, s->code, s->length, r->n);
    if (need.refused) return fault_of(c, F_SCRIPT_REFUSED, need.at);
    if (need.payload != bytes / r->pay_width) return fault_of(c, F_PAYLOAD, need.payload);
    if (!permitted(c, s->code, s->length)) return F_NOT_PERMITTED;
    r->slot = slot;
    r->code = s->code;
    r->length = s->length;
    r->pay_at = line_index(c->body, PAYLOAD_AT);
    k = chain_begin(c, &place);
    /* Emitted words are promised; mismatches get what is left of memory and of a reply. */
    room = (uint16_t)(BD_POOL - 4 * need.emitted);
    if (room > BD_TX_BODY - REPLY_HEAD - 4 * need.emitted)
        room = (uint16_t)(BD_TX_BODY - REPLY_HEAD - 4 * need.emitted);
    k->listed_room = room / 12 > 255 ? 255 : room / 12;
    c->work.limit = need.stop_ms;
    at_work(c, k);
    chain_end(c, k, r->verdict);
    if (!c->work.silent) chain_answer(c, k);
    return F_NONE;
}
