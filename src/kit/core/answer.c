/* Frames that come in: what is answered at once, and what has to wait for its turn. An answer that
 * falls into the midst of another frame is owed until that frame is over. */
#include <stddef.h>

#include "parts.h"

enum { OWES_HELLO = 1, OWES_PING = 2, OWES_STOP = 4, OWES_FAULT = 8 };

/* READ, DIGEST, WALK; and with those LINES, HOLD, REPEAT, RUN. */
#define READS (1u << K_READ | 1u << K_DIGEST | 1u << K_WALK)
#define STOPPED (READS | 1u << K_LINES | 1u << K_HOLD | 1u << K_REPEAT | 1u << K_RUN)

uint32_t answer_id(bw_core *c) {
    uint8_t kind = line_u8(c, 0);
    if ((kind == K_READ || kind == K_DIGEST || kind == K_WALK) && c->in.length >= 4)
        return (uint16_t)line_u32(c, 2);
    if ((kind == K_RUN || kind == K_REPEAT || kind == K_HOLD) && c->in.length >= 12)
        return line_u32(c, 8);
    return 0;
}

static const bw_field fault[] BD_ROM = {
    {FIELD_8, offsetof(bw_fault, kind)}, {FIELD_32, offsetof(bw_fault, id)},
    {FIELD_8, offsetof(bw_fault, code)}, {FIELD_32, offsetof(bw_fault, detail)},
};

void answer_fault(bw_core *c, const bw_fault *f) {
    send_begin(c, K_FAULT, f->tag);
    send_row(c, f, ROW_OF(fault));
    send_end(c);
}

void answer_owed(bw_core *c) {
    uint8_t owes = c->owes;
    if (c->in_frame) return;
    c->owes = 0;
    if (owes & OWES_HELLO) hello_answer(c, c->hello_tag, c->hello_session);
    if (owes & OWES_PING) ping_answer(c, c->ping_tag);
    if (owes & OWES_STOP) {
        send_begin(c, K_STOP | K_REPLY, c->stop_tag);
        send32(c, c->stop_within);
        send_end(c);
    }
    if (owes & OWES_FAULT) answer_fault(c, &c->fault);
}

static void owe(bw_core *c, uint8_t what) {
    c->owes |= what;
    answer_owed(c);
}

/* To the frame that has just come. */
static void fault_soon(bw_core *c, uint8_t code, uint32_t detail) {
    bw_fault *f = BW_NEAR(&c->fault);
    if (c->owes & OWES_FAULT) {
        count_on(&c->overruns, 1);
        return;
    }
    f->kind = line_u8(c, 0);
    f->tag = line_u8(c, 1);
    f->id = answer_id(c);
    f->code = code;
    f->detail = detail;
    owe(c, OWES_FAULT);
}

static BW_HERE void stop_arrived(bw_core *c, uint8_t tag) {
    c->stop_within = work_bound_ms(c);
    c->stop_tag = tag;
    line_refuse_waiting(c, STOPPED, F_HALTED);
    chain_halt(c);
    bus_release(c);
    work_halt(c, E_STOPPED);
    owe(c, OWES_STOP);
}

static BW_HERE void hello(bw_core *c, uint8_t tag) {
    bw_core *o = BW_NEAR(c);
    bool ours = take8(c) == BW_MAJOR;
    uint32_t session = take32(c);
    if (!session) take_bad(c, 3);
    if (ours) take_end(c);
    if (o->bad_at) {
        fault_soon(c, F_MALFORMED, o->bad_at);
        return;
    }
    if (ours && session != o->session) hello_opens(c, session);
    c->hello_tag = tag;
    c->hello_session = session;
    owe(c, OWES_HELLO);
}

/* A script whose slot is in use is refused, in its turn, unless it is the same. */
static BW_HERE uint8_t beside_run(bw_core *c) {
    uint8_t slot;
    if (c->work.fault.kind != K_RUN || line_u8(c, 0) != K_SCRIPT || c->in.length < 3) return F_NONE;
    slot = line_u8(c, 2);
    if (slot != c->run.slot) return F_NONE;
    if (c->script[slot].length == c->in.length - 3) {
        uint16_t n = 0;
        while (n < c->in.length - 3 && c->script[slot].code[n] == line_u8(c, (uint16_t)(n + 3))) n++;
        if (n == c->in.length - 3) return F_NONE;
    }
    return F_SLOT_IN_USE;
}

BW_HERE void answer_frame(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    uint8_t kind = line_u8(c, 0), tag = line_u8(c, 1), code = F_NONE;
    if (kind & K_REPLY) {
        count_on(&c->damaged, 1); /* our own echo, on a line that loops back */
        return;
    }
    answer_owed(c); /* earlier frames first */
    count_on(&c->good, 1);
    o->last_good = bd_now(&c->bd);
    o->rate_trial = 0;
    o->at = 2;
    o->bad_at = 0;
    if (kind == K_HELLO) {
        hello(c, tag);
    } else if (o->session == 0) {
        fault_soon(c, F_NO_SESSION, 0);
    } else if (kind == K_PING || kind == K_STOP) {
        /* They have no fields. */
        if (!take_end(c)) {
            fault_soon(c, F_MALFORMED, o->bad_at);
        } else if (kind == K_STOP) {
            stop_arrived(c, tag);
        } else {
            c->ping_tag = tag;
            owe(c, OWES_PING);
        }
    } else if (c->work.ending) {
        fault_soon(c, F_EARLIER_RUN, work_bound_ms(c));
    } else if (o->working && chain_same_at_work(c)) {
        c->work.fault.tag = tag;
        c->work.busy_now = 1;
    } else {
        if (o->working) code = beside_run(c);
        line_enqueue(c, code);
    }
}
