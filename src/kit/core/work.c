/* The request at work, and the pauses in which everything else is done.
 *
 * A work calls breathe() wherever it can be interrupted. There frames are taken, answers sent, the
 * rail is watched and the times of docs/wire.md are kept. */
#include "parts.h"

#define DEAD_MAN_MS 5000u
#define BUSY_FIRST_MS 250u
#define BUSY_MS 1000u
#define TRIAL_MS 500u
#define RESET_RATE_MS 10000u

uint32_t ms_ticks(uint32_t ms) {
    /* An hour and more is for ever here: the clock wraps. */
    return ms > 0x7FFFFFFFu / (1000u * BD_TICKS) ? 0x7FFFFFFFu : ms * (1000u * BD_TICKS);
}

uint32_t us_ticks(uint32_t us) {
    return us > 0x7FFFFFFFu / BD_TICKS ? 0x7FFFFFFFu : us * BD_TICKS;
}

/* The same for times that are known beforehand. */
#define MS(n) ((n) * (1000u * BD_TICKS))

void work_halt(bw_core *c, uint8_t cause) {
    if (!c->working) return;
    if (c->work_kind == K_RAIL && cause == E_STOPPED) return; /* STOP never keeps a rail on */
    /* The rail lost ends everything; a new session takes the reply of what STOP ended. */
    if (c->cause == E_GOOD || cause == E_POWER_LOST) c->cause = cause;
}

uint8_t work_fault(const bw_core *c) {
    if (c->cause == E_POWER_LOST) return c->rail_fault;
    return c->cause == E_SESSION || c->ending ? F_SESSION_ENDED : F_HALTED;
}

void work_whole(bw_core *c, uint32_t whole) {
    c->work_whole = whole;
    c->work_done = 0;
}

uint32_t work_bound_ms(bw_core *c) {
    if (!c->working) return 0;
    if (c->work_kind == K_RAIL) {
        uint32_t gone = (bd_now(&c->bd) - c->work_began) / (1000u * BD_TICKS);
        return c->work_limit > gone ? c->work_limit - gone : 1;
    }
    return c->work_limit ? c->work_limit : 1;
}

static void busy(bw_core *c) {
    if (c->silent) return;
    send_begin(c, K_BUSY, c->work_tag);
    send8(c, c->work_kind);
    send32(c, c->work_id);
    send32(c, c->work_done);
    send32(c, c->work_whole);
    send_end(c);
}

static void busy_poll(bw_core *c, uint32_t now) {
    if (!c->working || c->in_frame || c->replying) return;
    if (c->busy_now) {
        c->busy_now = 0;
    } else {
        if (now - c->busy_at < (c->is_long ? MS(BUSY_MS) : MS(BUSY_FIRST_MS))) return;
        c->busy_at = now;
        c->is_long = 1;
    }
    busy(c);
}

static void set_rate(bw_core *c, uint32_t rate) {
    send_drain(c);
    c->rate = rate;
    bd_rate(&c->bd, rate);
}

static void dead_man(bw_core *c) {
    line_refuse_waiting(c, 0xFFFF, F_HALTED);
    hold_release(c);
    lines_release(c);
    chain_halt(c);
    work_halt(c, E_DEAD_MAN);
    if (c->working && (c->work_kind == K_RUN || c->work_kind == K_REPEAT)) {
        c->off_due = 1; /* its `finally` first */
    } else {
        rail_open(c, RAIL_FALLING);
    }
}

/* About once in eight milliseconds; lines that are held are looked at in each. */
static void times_poll(bw_core *c) {
    uint32_t now = bd_now(&c->bd), silent = now - c->last_good;
    if ((c->rail == RAIL_ON || c->rail == RAIL_RISING) && !c->off_due && silent >= MS(DEAD_MAN_MS))
        dead_man(c);
    if (c->lines_set && (int32_t)(now - c->lines_until) >= 0) lines_release(c);
    busy_poll(c, now);
    permit_poll(c, now);
    /* So long ago that the clock would wrap: still longer than any time that is looked at. */
    if (silent >= MS(600000u)) c->last_good += MS(300000u);
    if (BD_RESET_RATE == 0 || c->in_frame) return;
    if (c->rate_trial && now - c->rate_since >= MS(TRIAL_MS)) {
        c->rate_trial = 0;
        set_rate(c, c->rate_before);
    }
    if (c->rate != BD_RESET_RATE && silent >= MS(RESET_RATE_MS)) {
        c->rate_trial = 0;
        set_rate(c, BD_RESET_RATE);
    }
}

bool breathe(bw_core *c) {
    uint8_t beat = bd_beat(&c->bd);
    bd_idle(&c->bd);
    if (c->head != c->scan) line_poll(c);
    send_pump(c);
    if (c->owes) answer_owed(c);
    if (beat != c->beat) {
        c->beat = beat;
        rail_poll(c);
        if ((beat & 7) == 0 || c->lines_set) times_poll(c);
    }
    return c->cause == E_GOOD;
}

uint32_t bw_idle_ticks(bw_core *c) {
    if (c->out.tail != c->out.ready || c->tail != c->keep || c->working) return 0;
    return c->rail != RAIL_OFF || c->lines_set ? 1000u * BD_TICKS : 20000u * BD_TICKS;
}

bool bw_step(bw_core *c) {
    breathe(c);
    if (c->tail == c->keep) return c->out.tail != c->out.ready;
    line_open_entry(c);
    c->work_kind = c->kind;
    c->work_tag = c->tag;
    c->work_id = answer_id(c);
    c->work_done = c->work_whole = c->work_limit = 0;
    c->work_began = c->busy_at = bd_now(&c->bd);
    c->busy_now = c->is_long = c->silent = c->replying = 0;
    c->cause = E_GOOD;
    c->working = 1;
    serve(c);
    c->working = 0;
    c->cause = E_GOOD;
    line_drop_entry(c);
    if (c->off_due) {
        c->off_due = 0;
        rail_open(c, RAIL_FALLING);
    }
    if (c->ending) {
        c->ending = 0;
        hello_forgets(c);
    }
    return true;
}

void bw_begin(bw_core *c) {
    c->boot_id = bd_boot_id(&c->bd);
    c->rate = BD_RESET_RATE;
    c->last_good = bd_now(&c->bd);
    c->last_status = 0;
    c->put = 2;
    c->rx_crc = CRC_START;
    bd_rail(&c->bd, false);
    bd_data_free(&c->bd);
    bd_address_drive(&c->bd, false);
    bd_control_drive(&c->bd, 0, 0);
}
