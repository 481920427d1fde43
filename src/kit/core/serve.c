/* Requests in their turn. */
#include "parts.h"

uint8_t fault_of(bw_core *c, uint8_t code, uint32_t detail) {
    c->work.fault.detail = detail;
    return code;
}

void reply_begin(bw_core *c) {
    c->work.replying = 1;
    send_begin(c, c->work.fault.kind | K_REPLY, c->work.fault.tag);
}

BW_HERE void reply_body(bw_core *c, const uint8_t *bytes, uint8_t count) {
    reply_begin(c);
    send_bytes(c, bytes, count);
}

void reply_echo(bw_core *c, uint8_t count) {
    uint8_t frame[26];
    line_open_entry(c); /* another frame may have been looked at since */
    count += 2;
    for (uint8_t n = 0; n < count; n++) frame[n] = line_u8(c, n);
    send_reply(c, frame, count);
}

static uint8_t by_kind(bw_core *c) {
    switch (c->work.fault.kind) {
    case K_RATE: return serve_rate(c);
    case K_RAIL: return serve_rail(c);
    case K_PERMIT: return serve_permit(c);
    case K_SHAPE: return serve_shape(c);
    case K_LINES: return serve_lines(c);
    case K_WALK: return serve_walk(c);
    case K_READ: return serve_read(c);
    case K_DIGEST: return serve_digest(c);
    case K_HOLD: return serve_hold(c);
    case K_REPEAT: return serve_repeat(c);
    case K_SCRIPT: return serve_script(c);
    case K_RUN: return serve_run(c);
    default: return F_UNKNOWN;
    }
}

BW_HERE void serve(bw_core *c) {
    bw_fault *f = BW_NEAR(&c->work.fault);
    uint8_t code = line_refusal(c);
    if (f->kind != K_RUN) {
        c->run.looked = 0;
#ifdef BD_QUICK
        c->run.row.there = 0;
#endif
    }
    if (code == F_SLOT_IN_USE) f->detail = line_u8(c, 2);
    if (code == F_NONE) {
        code = by_kind(c);
        if (code == F_MALFORMED) f->detail = c->bad_at;
    }
    if (code == F_NONE || code == F_ANSWERED || c->work.silent) return;
    if (code == F_SAGGED || code == F_OVER_CURRENT) f->detail = c->rail_detail;
    c->work.replying = 1;
    f->code = code;
    answer_fault(c, f);
}

uint8_t serve_rate(bw_core *c) {
    uint32_t rate = take32(c), before = c->rate;
    if (!take_end(c)) return F_MALFORMED;
    if (BD_RESET_RATE == 0 || !hello_lists(rate)) return F_RATE;
    if (c->work.silent) return F_NONE;
    reply_echo(c, 4);
    send_end(c);
    if (rate == before) return F_NONE;
    work_rate(c, rate);
    c->rate_before = before;
    c->rate_since = bd_now(&c->bd);
    c->rate_trial = 1;
    return F_NONE;
}
