/* Who this is: HELLO, PING, and what a new session does away with. */
#include <stddef.h>

#include "parts.h"

typedef struct {
    uint8_t flags;
    char name[8];
} control_line;

static const control_line control[] BD_ROM = BD_CONTROL;
static const uint32_t rates[] BD_ROM = BD_RATES;

/* HELLO's reply is these three pieces, the control lines and the rates. Names without their 0. */
#define LOW_FIRST_2(n) (uint8_t)(n), (uint8_t)((uint16_t)(n) >> 8)
#define LOW_FIRST_4(n) LOW_FIRST_2(n), LOW_FIRST_2((uint32_t)(n) >> 16)

static const struct {
    uint8_t firmware_length;
    char firmware[sizeof BD_FIRMWARE - 1];
    uint8_t board_length;
    char board[sizeof BD_NAME - 1];
    uint8_t lines[3];
} names BD_ROM = {
    sizeof BD_FIRMWARE - 1, BD_FIRMWARE, sizeof BD_NAME - 1, BD_NAME,
    {BD_DATA_LINES, BD_ADDRESS_LINES, BD_CONTROL_LINES},
};
static const uint8_t facts[] BD_ROM = {
    BD_PATH, 1, LOW_FIRST_2(BD_RAIL_MV), LOW_FIRST_2(BD_IO_MV), BD_IO_MEASURED,
    LOW_FIRST_2(BD_INPUT_MV), LOW_FIRST_2(BD_LIMIT_MA), BD_SUPPLY, BD_SENSED,
    LOW_FIRST_2(BD_RX_BODY), LOW_FIRST_2(BD_QUEUE), LOW_FIRST_2(BD_TX_BODY), BD_SHAPES, BD_SCRIPTS,
    LOW_FIRST_2(BD_SCRIPT_BYTES), BD_RUNS, LOW_FIRST_2(BD_EMIT), LOW_FIRST_4(BD_CLOCK),
    LOW_FIRST_4(BD_RESET_RATE), BD_RATE_COUNT,
};
static const uint8_t times[] BD_ROM = {
    LOW_FIRST_2(BD_SETUP_NS), LOW_FIRST_2(BD_PULSE_NS), LOW_FIRST_2(BD_HOLD_NS),
    LOW_FIRST_2(BD_RECOVER_NS), LOW_FIRST_2(BD_RELEASE_NS), 2, 0, 1,
};

static const uint8_t in_atomic[] BD_ROM = {
    LOW_FIRST_4(BD_ATOMIC_OP_NS), LOW_FIRST_4(BD_ATOMIC_CYCLE_NS),
};

/* Fields of the context that stand beside boot_id; see bw.h. */
#define TOLD(field) offsetof(bw_core, field) - offsetof(bw_core, boot_id)

static const bw_field previous[] BD_ROM = {
    {FIELD_32, TOLD(previous_session)}, {FIELD_32, TOLD(previous_run)},
    {FIELD_8, TOLD(previous_status)},
};
static const bw_field state[] BD_ROM = {
    {FIELD_32, TOLD(boot_id)}, {FIELD_32, TOLD(rail_counter)}, {FIELD_8, TOLD(rail)},
};
static const bw_field runs[] BD_ROM = {
    {FIELD_8, TOLD(working)}, {FIELD_32, TOLD(last_run)}, {FIELD_8, TOLD(last_status)},
};
static const bw_field counts[] BD_ROM = {
    {FIELD_32, TOLD(good)}, {FIELD_32, TOLD(damaged)}, {FIELD_32, TOLD(overruns)},
};

bd_lines_t hello_strobes(void) {
    bd_lines_t mask = 0;
    for (uint8_t n = 0; n < BD_CONTROL_LINES; n++)
        if (BD_ROM8(&control[n].flags) & 1) mask |= (bd_lines_t)(1u << n);
    return mask;
}

BW_HERE bool hello_lists(uint32_t rate) {
    for (uint8_t n = 0; n < BD_RATE_COUNT; n++)
        if (BD_ROM32(&rates[n]) == rate) return true;
    return false;
}

/* What the host of an earlier session has given. */
void hello_forgets(bw_core *c) {
    for (uint8_t n = 0; n < BD_SHAPES; n++) c->shape[n].used = c->permit[n].used = 0;
    for (uint8_t n = 0; n < BD_SCRIPTS; n++) c->script[n].length = 0;
}

/* Everything that belongs to a session is new; the rail stays. */
BW_HERE void hello_opens(bw_core *c, uint32_t session) {
    bw_core *o = BW_NEAR(c);
    o->previous_session = o->session;
    o->previous_run = o->last_run;
    o->previous_status = o->last_status;
    o->session = session;
    line_drop_waiting(c);
    send_forget(c);
    o->owes = 0;
    bus_release(c);
    /* A run at work keeps shapes, permits and its script to its end. */
    if (!o->working) {
        hello_forgets(c);
    } else {
        uint8_t kind = c->work.fault.kind;
        c->work.ending = 1;
        c->work.silent = kind != K_READ && kind != K_DIGEST && kind != K_WALK;
        if (kind != K_RAIL) work_halt(c, E_SESSION);
    }
    chain_reset(c);
}

BW_HERE void hello_answer(bw_core *c, uint8_t tag, uint32_t session) {
    send_begin(c, K_HELLO | K_REPLY, tag);
    send8(c, BW_MAJOR);
    send8(c, BW_MINOR);
    send32(c, session);
    send_row(c, &c->boot_id, state, 2);
    send32(c, c->work.ending ? work_bound_ms(c) : 0);
    send_rom(c, &names, sizeof names);
    for (uint8_t n = 0; n < BD_CONTROL_LINES; n++) {
        uint8_t length = 0;
        while (BD_ROM8((const uint8_t *)control[n].name + length)) length++;
        send8(c, BD_ROM8(&control[n].flags));
        send8(c, length);
        send_rom(c, control[n].name, length);
    }
    send_rom(c, facts, sizeof facts);
    for (uint8_t n = 0; n < BD_RATE_COUNT; n++) send32(c, BD_ROM32(&rates[n]));
    send_rom(c, times, sizeof times);
    send_row(c, &c->boot_id, ROW_OF(previous));
    send_rom(c, in_atomic, sizeof in_atomic);
    send_end(c);
}

BW_HERE void ping_answer(bw_core *c, uint8_t tag) {
    uint16_t now = rail_mv(c);
    if (!BD_SENSED || c->rail != RAIL_ON || now < c->lowest) c->lowest = now;
    send_begin(c, K_PING | K_REPLY, tag);
    send_row(c, &c->boot_id, ROW_OF(state));
    send16(c, now);
    send16(c, c->lowest);
    c->lowest = now;
    send8(c, (uint8_t)(bd_ready(&c->bd) | BD_WRITE_LOCKED(&c->bd) << 1));
    send_row(c, &c->boot_id, ROW_OF(runs));
    send16(c, permit_seconds(c));
    send_row(c, &c->boot_id, ROW_OF(counts));
    send_end(c);
}
