/* Who this is: HELLO, PING, and what a new session does away with. */
#include "parts.h"

typedef struct {
    uint8_t flags;
    char name[8];
} control_line;

static const control_line control[] BD_ROM = BD_CONTROL;
static const uint32_t rates[] BD_ROM = BD_RATES;
static const char firmware[] BD_ROM = BD_FIRMWARE;
static const char board[] BD_ROM = BD_NAME;

uint16_t hello_strobes(void) {
    uint16_t mask = 0;
    for (uint8_t n = 0; n < BD_CONTROL_LINES; n++)
        if (BD_ROM8(&control[n].flags) & 1) mask |= (uint16_t)(1u << n);
    return mask;
}

bool hello_lists(uint32_t rate) {
    for (uint8_t n = 0; n < BD_RATE_COUNT; n++)
        if (BD_ROM32(&rates[n]) == rate) return true;
    return false;
}

static void text(bw_core *c, const char *at) {
    uint8_t length = 0;
    while (BD_ROM8((const uint8_t *)at + length)) length++;
    send8(c, length);
    for (uint8_t n = 0; n < length; n++) send8(c, BD_ROM8((const uint8_t *)at + n));
}

/* What the host of an earlier session has given. */
void hello_forgets(bw_core *c) {
    for (uint8_t n = 0; n < BD_SHAPES; n++) c->shape[n].used = c->permit[n].used = 0;
    for (uint8_t n = 0; n < BD_SCRIPTS; n++) c->script[n].length = 0;
}

/* Everything that belongs to a session is new; the rail stays. */
void hello_opens(bw_core *c, uint32_t session) {
    c->previous_session = c->session;
    c->previous_run = c->session ? c->last_run : 0;
    c->previous_status = c->session ? c->last_status : 0;
    c->session = session;
    line_drop_waiting(c);
    send_forget(c);
    c->owes = 0;
    hold_release(c);
    lines_release(c);
    /* A run at work keeps shapes, permits and its script to its end. */
    if (!c->working) hello_forgets(c);
    if (c->working) {
        c->ending = 1;
        c->silent = !(c->work_kind == K_READ || c->work_kind == K_DIGEST || c->work_kind == K_WALK);
        if (c->work_kind != K_RAIL) work_halt(c, E_SESSION);
    }
    chain_reset(c);
}

void hello_answer(bw_core *c, uint8_t tag, uint32_t session) {
    send_begin(c, K_HELLO | K_REPLY, tag);
    send8(c, BW_MAJOR);
    send8(c, BW_MINOR);
    send32(c, session);
    send32(c, c->boot_id);
    send32(c, c->rail_counter);
    send32(c, c->ending ? work_bound_ms(c) : 0);
    text(c, firmware);
    text(c, board);
    send8(c, BD_DATA_LINES);
    send8(c, BD_ADDRESS_LINES);
    send8(c, BD_CONTROL_LINES);
    for (uint8_t n = 0; n < BD_CONTROL_LINES; n++) {
        send8(c, BD_ROM8(&control[n].flags));
        text(c, control[n].name);
    }
    send8(c, BD_PATH);
    send8(c, 1);
    send16(c, BD_RAIL_MV);
    send16(c, BD_IO_MV);
    send8(c, BD_IO_MEASURED);
    send16(c, BD_INPUT_MV);
    send16(c, BD_LIMIT_MA);
    send8(c, BD_SUPPLY);
    send8(c, BD_SENSED);
    send16(c, BD_RX_BODY);
    send16(c, BD_QUEUE);
    send16(c, BD_TX_BODY);
    send8(c, BD_SHAPES);
    send8(c, BD_SCRIPTS);
    send16(c, BD_SCRIPT_BYTES);
    send8(c, BD_RUNS);
    send16(c, BD_EMIT);
    send32(c, BD_CLOCK);
    send32(c, BD_RESET_RATE);
    send8(c, BD_RATE_COUNT);
    for (uint8_t n = 0; n < BD_RATE_COUNT; n++) send32(c, BD_ROM32(&rates[n]));
    send16(c, BD_SETUP_NS);
    send16(c, BD_PULSE_NS);
    send16(c, BD_HOLD_NS);
    send16(c, BD_RECOVER_NS);
    send16(c, BD_RELEASE_NS);
    send8(c, 2);
    send8(c, 0);
    send8(c, 1);
    send32(c, c->previous_session);
    send32(c, c->previous_run);
    send8(c, c->previous_status);
    send_end(c);
}

void ping_answer(bw_core *c, uint8_t tag) {
    uint16_t now = rail_mv(c), lowest = c->lowest;
    if (!BD_SENSED || c->rail != RAIL_ON || now < lowest) lowest = now;
    c->lowest = now;
    send_begin(c, K_PING | K_REPLY, tag);
    send32(c, c->boot_id);
    send32(c, c->rail_counter);
    send8(c, c->rail);
    send16(c, now);
    send16(c, lowest);
    send8(c, (uint8_t)(bd_ready(&c->bd) | BD_WRITE_LOCKED(&c->bd) << 1));
    send8(c, c->working);
    send32(c, c->last_run);
    send8(c, c->last_status);
    send16(c, permit_seconds(c));
    send32(c, c->good);
    send32(c, c->damaged);
    send32(c, c->overruns);
    send_end(c);
}
