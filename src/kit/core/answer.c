/* Frames that come in: what is answered at once, and what has to wait for its turn. An answer that
 * falls into the midst of another frame is owed until that frame is over. */
#include "parts.h"

enum { OWES_HELLO = 1, OWES_PING = 2, OWES_STOP = 4, OWES_FAULT = 8 };

/* READ, DIGEST, WALK; and with those LINES, HOLD, REPEAT, RUN. */
#define READS (1u << K_READ | 1u << K_DIGEST | 1u << K_WALK)
#define STOPPED (READS | 1u << K_LINES | 1u << K_HOLD | 1u << K_REPEAT | 1u << K_RUN)

uint32_t answer_id(bw_core *c) {
    uint8_t kind = line_u8(c, 0);
    if ((kind == K_READ || kind == K_DIGEST || kind == K_WALK) && c->length >= 4)
        return (uint32_t)line_u8(c, 2) | (uint32_t)line_u8(c, 3) << 8;
    if ((kind == K_RUN || kind == K_REPEAT || kind == K_HOLD) && c->length >= 12)
        return line_u32(c, 8);
    return 0;
}

void answer_fault(bw_core *c, uint8_t kind, uint8_t tag, uint32_t id, uint8_t code, uint32_t detail) {
    send_begin(c, K_FAULT, tag);
    send8(c, kind);
    send32(c, id);
    send8(c, code);
    send32(c, detail);
    send_end(c);
}

/* To the frame that has just come. */
void answer_fault_soon(bw_core *c, uint8_t code, uint32_t detail) {
    uint8_t kind = line_u8(c, 0), tag = line_u8(c, 1);
    if (!c->in_frame) {
        answer_fault(c, kind, tag, answer_id(c), code, detail);
    } else if (c->owes & OWES_FAULT) {
        c->overruns++;
    } else {
        c->owes |= OWES_FAULT;
        c->bad_kind = kind;
        c->bad_tag = tag;
        c->bad_id = answer_id(c);
        c->bad_code = code;
        c->bad_detail = detail;
    }
}

static void stop_answer(bw_core *c, uint8_t tag, uint32_t within) {
    send_begin(c, K_STOP | K_REPLY, tag);
    send32(c, within);
    send_end(c);
}

void answer_owed(bw_core *c) {
    uint8_t owes = c->owes;
    if (c->in_frame) return;
    c->owes = 0;
    if (owes & OWES_HELLO) hello_answer(c, c->hello_tag, c->hello_session);
    if (owes & OWES_PING) ping_answer(c, c->ping_tag);
    if (owes & OWES_STOP) stop_answer(c, c->stop_tag, c->stop_within);
    if (owes & OWES_FAULT)
        answer_fault(c, c->bad_kind, c->bad_tag, c->bad_id, c->bad_code, c->bad_detail);
}

static void stop_arrived(bw_core *c, uint8_t tag) {
    uint32_t within = c->working ? work_bound_ms(c) : 0;
    line_refuse_waiting(c, STOPPED, F_HALTED);
    chain_halt(c);
    hold_release(c);
    lines_release(c);
    work_halt(c, E_STOPPED);
    if (c->in_frame) {
        c->owes |= OWES_STOP;
        c->stop_tag = tag;
        c->stop_within = within;
    } else {
        stop_answer(c, tag, within);
    }
}

static void hello(bw_core *c, uint8_t tag) {
    uint32_t session;
    bool ours;
    ours = take8(c) == BW_MAJOR;
    session = take32(c);
    if (!c->bad_at && session == 0) take_bad(c, 3);
    if (ours && !c->bad_at) take_end(c);
    if (c->bad_at) {
        answer_fault_soon(c, F_MALFORMED, c->bad_at);
        return;
    }
    if (ours && session != c->session) hello_opens(c, session);
    if (c->in_frame) {
        c->owes |= OWES_HELLO;
        c->hello_tag = tag;
        c->hello_session = session;
    } else {
        hello_answer(c, tag, session);
    }
}

/* PING and STOP have no fields. */
static bool bare(bw_core *c) {
    if (take_end(c)) return true;
    answer_fault_soon(c, F_MALFORMED, c->bad_at);
    return false;
}

/* A script whose slot is in use is refused, in its turn, unless it is the same. */
static uint8_t beside_run(bw_core *c) {
    uint8_t slot;
    if (c->work_kind != K_RUN || line_u8(c, 0) != K_SCRIPT || c->length < 3) return F_NONE;
    slot = line_u8(c, 2);
    if (slot != c->run.slot) return F_NONE;
    if (c->script[slot].length == c->length - 3) {
        uint16_t n = 0;
        while (n < c->length - 3 && c->script[slot].code[n] == line_u8(c, (uint16_t)(n + 3))) n++;
        if (n == c->length - 3) return F_NONE;
    }
    return F_SLOT_IN_USE;
}

void answer_frame(bw_core *c) {
    uint8_t kind = line_u8(c, 0), tag = line_u8(c, 1), code = F_NONE;
    if (kind & K_REPLY) {
        c->damaged++; /* our own echo, on a line that loops back */
        return;
    }
    c->good++;
    c->last_good = bd_now(&c->bd);
    c->rate_trial = 0;
    c->at = 2;
    c->bad_at = 0;
    if (kind == K_HELLO) {
        hello(c, tag);
        return;
    }
    if (c->session == 0) {
        answer_fault_soon(c, F_NO_SESSION, 0);
        return;
    }
    if (kind == K_PING) {
        if (!bare(c)) return;
        if (c->in_frame) {
            c->owes |= OWES_PING;
            c->ping_tag = tag;
        } else {
            ping_answer(c, tag);
        }
        return;
    }
    if (kind == K_STOP) {
        if (bare(c)) stop_arrived(c, tag);
        return;
    }
    if (c->ending) {
        answer_fault_soon(c, F_EARLIER_RUN, work_bound_ms(c));
        return;
    }
    if (c->working) {
        if (chain_same_at_work(c)) {
            c->work_tag = tag;
            c->busy_now = 1;
            return;
        }
        code = beside_run(c);
    }
    line_enqueue(c, code);
}
