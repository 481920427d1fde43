/* SCRIPT and RUN. */
#include <stddef.h>
#include <string.h>

#include "script.h"

#define N_AT 29
#define LANES_AT 33
#define WIDTH_AT 37
#define PAYLOAD_AT 38
#define REPLY_HEAD 40u

/* The limits are those of this moment: shapes may have changed since a script was stored. */
static uint8_t check(bw_core *c, const uint8_t *code, uint16_t length, uint32_t n, bw_need *need) {
    bw_limits l;
    uint32_t longest = 0;
    l.bytes = BD_SCRIPT_BYTES;
    l.emitted = BD_EMIT;
    l.op_ns = BD_OP_NS;
    l.atomic_op_ns = BD_ATOMIC_OP_NS ? BD_ATOMIC_OP_NS : BD_OP_NS;
    for (uint8_t slot = 0; slot < BD_SHAPES; slot++) {
        const bw_shape *s = shape_get(c, slot);
        uint32_t ns;
        if (!s) continue;
        /* The charge lasts as long as the set-up. */
        ns = bd_wait_ns(s->waits[0]);
        for (uint8_t time = 0; time < 4; time++) ns += bd_wait_ns(s->waits[time]);
        if (ns > longest) longest = ns;
    }
    longest += bd_wait_ns(c->release);
    l.cycle_ns = longest + BD_CYCLE_NS;
    l.atomic_cycle_ns = longest + (BD_ATOMIC_OP_NS ? BD_ATOMIC_CYCLE_NS : BD_CYCLE_NS);
    script_check(c, &l, code, length, n, need);
    return need->refused ? fault_of(c, F_SCRIPT_REFUSED, need->at) : F_NONE;
}

uint8_t serve_script(bw_core *c) {
    uint8_t slot = take8(c), code;
    uint16_t length = (uint16_t)(c->in.length - 3);
    bw_script *s;
    if (c->bad_at) return F_MALFORMED;
    if (slot >= BD_SCRIPTS) return F_NO_SCRIPT;
    s = BW_NEAR(&c->script[slot]);
    if (length > BD_SCRIPT_BYTES) return fault_of(c, F_SCRIPT_REFUSED, BD_SCRIPT_BYTES);
    if (length == 0) return fault_of(c, F_SCRIPT_REFUSED, 0);
    if (s->length != length || s->checksum != line_sum(c, 3, c->in.length)) {
        bw_need need;
        for (uint16_t n = 0; n < length; n++) c->scratch[n] = line_u8(c, n + 3u);
        code = check(c, c->scratch, length, 1, &need);
        if (code) return code;
        memcpy(s->code, c->scratch, length);
        s->length = length;
        s->checked = 0;
        s->checksum = line_sum(c, 3, length + 3);
    }
    reply_echo(c, 1);
    send32(c, s->checksum);
    send_end(c);
    return F_NONE;
}

static void at_work(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    bw_kept *k = r->kept;
    cycle_ready(c);
    run_begin(c);
    for (uint8_t n = 1;; n++) {
        uint8_t step = run_step(c);
        if (step == STEP_DONE) break;
        if (step == STEP_SHORT && n & 7) continue;
        if (step == STEP_WAITS ? breathe(c) : breathe_short(c)) continue;
        if (c->work.cause == E_POWER_LOST) {
            run_lose_power(c);
            break;
        }
        run_stop(c, c->work.cause);
    }
    c->run_permits_on = 0;
    k->at = r->end_at;
    memcpy(k->lane, r->wait.lane, 4);
    k->a = r->a;
    k->d = r->d;
    k->elapsed = (r->seen - r->began) / BD_TICKS;
}

typedef struct {
    bw_place place;
    uint32_t meant;
    uint8_t slot;
} asked;

static const bw_field fields[] BD_ROM = {
    {FIELD_8, offsetof(asked, slot)}, {FIELD_32, offsetof(asked, meant)},
};
static const bw_field given[] BD_ROM = {
    {FIELD_32, offsetof(bw_run, a)},    {FIELD_32, offsetof(bw_run, b)},
    {FIELD_32, offsetof(bw_run, n)},    {FIELD_32, offsetof(bw_run, mask)},
    {FIELD_WIDTH, offsetof(bw_run, pay_width)},
};

/* The script, and what it comes to with what is given. */
static BW_HERE uint8_t look(bw_core *c, uint32_t meant, uint16_t words) {
    bw_run *r = BW_NEAR(&c->run);
    bw_script *s;
    bw_need *need;
    uint8_t code = F_NONE;
    if (r->slot >= BD_SCRIPTS) return F_NO_SCRIPT;
    s = BW_NEAR(&c->script[r->slot]);
    need = &s->need;
    if (!s->length) return F_NO_SCRIPT;
    if (s->checksum != meant) return fault_of(c, F_ANOTHER_SCRIPT, s->checksum);
    if (!s->checked) code = check(c, s->code, s->length, 1, need);
    if (code) return code;
    if (need->uses_n && r->n == 0) take_bad(c, N_AT);
    if (r->mask == 0) take_bad(c, LANES_AT);
    if (c->bad_at) return F_MALFORMED;
    if (need->uses_n && !(s->checked && s->checked_for == r->n)) {
        s->checked = 0;
        code = check(c, s->code, s->length, r->n, need);
        if (code) return code;
    }
    s->checked = 1;
    s->checked_for = r->n;
    if (need->payload != words) return fault_of(c, F_PAYLOAD, need->payload);
    r->code = s->code;
    r->length = s->length;
    /* Most runs are of the script of the one before. */
    if (r->looked != r->slot + 1) run_look(c);
    /* Every shape that the text writes with has a permit. */
    if (r->writes & ~permit_keep(c)) {
        c->run_permits_on = 0;
        return F_NOT_PERMITTED;
    }
    c->work.limit = need->stop_ms;
    return F_NONE;
}

uint8_t serve_run(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    asked a;
    bw_kept *k;
    const bw_need *need;
    uint16_t bytes, room, sum_at;
    uint8_t code;
    chain_place(c, &a.place);
    take_row(c, &a, ROW_OF(fields));
    take_row(c, r, ROW_OF(given));
    if (c->bad_at) return F_MALFORMED;
    sum_at = c->in.length - 4u;
    bytes = sum_at - PAYLOAD_AT;
    if (c->in.length < PAYLOAD_AT + 4 || bytes & (r->pay_width - 1u)) {
        take_bad(c, PAYLOAD_AT);
    } else if (line_u32(c, sum_at) != a.place.request) {
        take_bad(c, sum_at);
    }
    if (c->bad_at) return F_MALFORMED;
    r->pay_at = line_index(c->in.body, PAYLOAD_AT);
    code = chain_judge(c, &a.place);
    if (!code) code = rail_refusal(c);
    if (code) return code;
    r->slot = a.slot;
    code = look(c, a.meant, bytes >> (r->pay_width >> 1));
    if (code) return code;
    k = chain_begin(c, &a.place);
    /* Emitted words are promised; mismatches get what is left of memory and of a reply. */
    room = BD_POOL < BD_TX_BODY - REPLY_HEAD ? BD_POOL : BD_TX_BODY - REPLY_HEAD;
    need = &c->script[a.slot].need;
    k->listed_room = 0;
    if (need->sweeps) {
        room = (room - 4 * (uint16_t)need->emitted) / 12;
        k->listed_room = room > 255 ? 255 : (uint8_t)room;
    }
    at_work(c);
    chain_end(c, k, r->verdict);
    if (!c->work.silent) chain_answer(c, k);
    return F_NONE;
}
