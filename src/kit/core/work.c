/* The request at work, and the pauses in which everything else is done.
 *
 * A work calls breathe() wherever it can be interrupted. There frames are taken, answers sent, the
 * rail is watched and the times of docs/wire.md are kept. */
#include <stddef.h>
#include <string.h>

#include "parts.h"

#define DEAD_MAN_MS 5000u
#define BUSY_FIRST_MS 250u
#define BUSY_MS 1000u
#define TRIAL_MS 500u
#define RESET_RATE_MS 10000u

uint32_t ms_ticks(uint32_t ms) {
    /* An hour and more is for ever here: the clock wraps. */
    return ms > 0x7FFFFFFFu / (1000ul * BD_TICKS) ? 0x7FFFFFFFu : ms * (1000ul * BD_TICKS);
}

uint32_t us_ticks(uint32_t us) {
    return us > 0x7FFFFFFFu / BD_TICKS ? 0x7FFFFFFFu : us * BD_TICKS;
}

uint32_t ms_ahead(bw_core *c, uint32_t ms) {
    return bd_now(&c->bd) + ms_ticks(ms);
}

void count_on(uint32_t *at, uint16_t more) {
    uint32_t sum = *at + more;
    *at = sum < more ? 0xFFFFFFFFu : sum;
}

void work_halt(bw_core *c, uint8_t cause) {
    bw_work *w = BW_NEAR(&c->work);
    if (!c->working) return;
    if (w->fault.kind == K_RAIL && cause == E_STOPPED) return; /* STOP never keeps a rail on */
    /* The rail lost ends everything; a new session takes the reply of what STOP ended. */
    if (w->cause == E_GOOD || cause == E_POWER_LOST) w->cause = cause;
}

uint8_t work_fault(const bw_core *c) {
    const bw_work *w = BW_NEAR(&c->work);
    if (w->cause == E_POWER_LOST) return c->rail_fault;
    return w->cause == E_SESSION || w->ending ? F_SESSION_ENDED : F_HALTED;
}

void work_whole(bw_core *c, uint32_t whole) {
    bw_work *w = BW_NEAR(&c->work);
    w->whole = whole;
    w->done = 0;
}

BW_HERE uint32_t ms_since(bw_core *c, uint32_t since) {
    return (bd_now(&c->bd) - since) / (1000ul * BD_TICKS);
}

bool ms_past(bw_core *c, const uint32_t *since, uint16_t ms) {
    return bd_now(&c->bd) - *since >= ms_ticks(ms);
}

uint32_t work_bound_ms(bw_core *c) {
    bw_work *w = BW_NEAR(&c->work);
    uint32_t left = w->limit, gone;
    if (!c->working) return 0;
    if (w->fault.kind == K_RAIL) {
        gone = ms_since(c, w->began);
        left = left > gone ? left - gone : 0;
    }
    return left ? left : 1;
}

static const bw_field told[] BD_ROM = {
    {FIELD_8, offsetof(bw_work, fault.kind)}, {FIELD_32, offsetof(bw_work, fault.id)},
    {FIELD_32, offsetof(bw_work, done)}, {FIELD_32, offsetof(bw_work, whole)},
};

static BW_HERE void busy_poll(bw_core *c) {
    bw_work *w = BW_NEAR(&c->work);
    if (!c->working || c->in_frame || w->replying) return;
    if (!w->busy_now) {
        if (!ms_past(c, &w->busy_at, w->is_long ? BUSY_MS : BUSY_FIRST_MS)) return;
        w->busy_at = bd_now(&c->bd);
        w->is_long = 1;
    }
    w->busy_now = 0;
    if (w->silent) return;
    send_begin(c, K_BUSY, w->fault.tag);
    send_row(c, w, ROW_OF(told));
    send_end(c);
}

void work_rate(bw_core *c, uint32_t rate) {
    send_drain(c);
    c->rate = rate;
    c->rate_trial = 0;
    bd_rate(&c->bd, rate);
}

static void dead_man(bw_core *c) {
    line_refuse_waiting(c, 0xFFFF, F_HALTED);
    bus_release(c);
    chain_halt(c);
    work_halt(c, E_DEAD_MAN);
    if (c->working && (c->work.fault.kind == K_RUN || c->work.fault.kind == K_REPEAT)) {
        c->work.off_due = 1; /* its `finally` first */
    } else {
        rail_open(c, RAIL_FALLING);
    }
}

static BW_HERE void dead_man_poll(bw_core *c) {
    if (rail_closed(c) && !c->work.off_due && ms_past(c, &c->last_good, DEAD_MAN_MS)) dead_man(c);
}

#ifndef BD_SENDS
bool work_watch(bw_core *c) {
    rail_poll(c);
    dead_man_poll(c);
    return !ms_past(c, &c->last_good, DEAD_MAN_MS);
}
#endif

/* About once in eight milliseconds; lines that are held are looked at in each. */
static BW_HERE void times_poll(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    dead_man_poll(c);
    if (c->lines_set && (int32_t)(bd_now(&c->bd) - c->lines_until) >= 0) lines_release(c);
    busy_poll(c);
    permit_poll(c);
    /* So long ago that the clock would wrap some day: still longer than any time that is looked at. */
    if (ms_past(c, &c->last_good, 60000u)) o->last_good += ms_ticks(30000u);
    if (BD_RESET_RATE == 0 || o->in_frame) return;
    if (o->rate_trial && ms_past(c, &c->rate_since, TRIAL_MS)) work_rate(c, c->rate_before);
    if (c->rate != BD_RESET_RATE && ms_past(c, &c->last_good, RESET_RATE_MS))
        work_rate(c, BD_RESET_RATE);
}

static BW_HERE void watch(bw_core *c) {
    uint8_t beat = bd_beat(&c->bd);
    if (beat != c->beat) {
        /* Not at every eighth beat: work whose pauses lie eight beats apart would never meet one. */
        bool eight = (beat ^ c->beat) >= 8;
        c->beat = beat;
        rail_poll(c);
        if (eight || c->lines_set) times_poll(c);
    }
}

bool breathe(bw_core *c) {
    bd_idle(&c->bd);
    if (c->in.head != c->in.scan) line_poll(c);
    send_pump(c);
    if (c->owes) answer_owed(c);
    watch(c);
    return c->work.cause == E_GOOD;
}

bool breathe_short(bw_core *c) {
#ifndef BD_SENDS
    if (bd_tx_free(&c->bd)) send_pump(c);
#endif
    bd_idle(&c->bd);
    if (c->in.head == c->in.scan && c->beat == bd_beat(&c->bd)) return c->work.cause == E_GOOD;
    return breathe(c);
}

uint32_t bw_idle_ticks(bw_core *c) {
    if (c->out.tail != c->out.ready || c->in.tail != c->in.keep || c->working) return 0;
    return c->rail != RAIL_OFF || c->lines_set ? 1000ul * BD_TICKS : 20000ul * BD_TICKS;
}

BW_HERE bool bw_step(bw_core *c) {
    bw_work *w = BW_NEAR(&c->work);
    breathe(c);
    if (c->in.tail == c->in.keep) return c->out.tail != c->out.ready;
    line_open_entry(c);
    memset(w, 0, sizeof *w);
    w->fault.kind = line_u8(c, 0);
    w->fault.tag = line_u8(c, 1);
    w->fault.id = answer_id(c);
    w->began = w->busy_at = bd_now(&c->bd);
    c->working = 1;
    serve(c);
    c->working = 0;
    w->cause = E_GOOD;
    line_drop_entry(c);
    if (w->off_due) rail_open(c, RAIL_FALLING);
    if (w->ending) hello_forgets(c);
    w->off_due = w->ending = 0;
    return true;
}

void bw_begin(bw_core *c) {
    c->boot_id = bd_boot_id(&c->bd);
    c->rate = BD_RESET_RATE;
    c->last_good = bd_now(&c->bd);
    c->last_status = 0;
    /* Bytes may stand at the start of the ring already: `put` begins there, two bytes behind `keep`. */
    bd_lock(&c->bd);
    c->in.tail = c->in.keep = BD_RING - 2;
    bd_unlock(&c->bd);
    c->in.rx.crc = CRC_START;
    bd_rail(&c->bd, false);
    bus_free(c);
    bd_control_drive(&c->bd, 0, 0);
}
