/* The module's supply. */
#include <stddef.h>
#include <string.h>

#include "parts.h"

#define OFF_MV 300u
#define FALL_MS 2000u
#define STEADY_MS 1u
#define STEADY_MV 20u

BW_HERE uint16_t rail_mv(bw_core *c) {
    if (BD_SENSED) return bd_rail_mv(&c->bd);
    return c->rail == RAIL_ON || c->rail == RAIL_RISING ? BD_RAIL_MV : 0;
}

bool rail_closed(const bw_core *c) {
    return c->rail == RAIL_ON || c->rail == RAIL_RISING;
}

uint8_t rail_refusal(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    if (o->rail == RAIL_ON) return F_NONE;
    if (o->rail == RAIL_TRIPPED) return fault_of(c, o->rail_fault, o->rail_detail);
    return fault_of(c, F_RAIL_OFF, 0);
}

/* The order matters: low on a control line would select battery-backed RAM while the supply falls. */
void rail_open(bw_core *c, uint8_t state) {
    bw_core *o = BW_NEAR(c);
    bool was = rail_closed(c);
    bw_levels at = levels_held(c);
    for (uint8_t n = 0; n < BD_SHAPES; n++) c->permit[n].used = 0;
    chain_halt(c);
    if (was) {
        c->holding = c->lines_set = 0;
        memset(&c->drive, 0, sizeof c->drive);
        /* Those that no idle level names are let go before; while it rises none is high yet. */
        if (o->rail == RAIL_RISING) {
            bd_control_drive(&c->bd, at.mask & (bd_lines_t)~at.level, 0);
        } else {
            bd_control_drive(&c->bd, at.mask, at.level);
        }
        bus_free(c);
        bd_rail(&c->bd, false);
        bd_control_drive(&c->bd, 0, 0);
        c->was_read = 0;
        c->held.mask = c->held.level = 0;
        c->moved = c->held;
        count_on(&c->rail_counter, 1);
        o->rail_since = bd_now(&c->bd);
    } else if (o->rail == RAIL_OFF) {
        return;
    } else if (state == RAIL_FALLING && o->rail == RAIL_TRIPPED) {
        o->rail = RAIL_FALLING;
        return;
    }
    o->rail = state;
}

static void trip(bw_core *c, uint8_t code, uint32_t detail) {
    c->rail_fault = code;
    c->rail_detail = detail;
    rail_open(c, RAIL_TRIPPED);
    /* A waiting RAIL on gets the same and is not tried; runs that wait are halted. */
    line_refuse_rail_on(c, code);
    line_refuse_waiting(c, 1u << K_RUN | 1u << K_REPEAT | 1u << K_HOLD, F_HALTED);
    work_halt(c, E_POWER_LOST);
}

/* While it is on, for stretch.c: the same at little cost. False if rail_poll has something to do. */
bool rail_holds(bw_core *c) {
    uint8_t beat = bd_beat(&c->bd);
    uint16_t mv = BD_SENSED ? bd_rail_mv(&c->bd) : c->floor;
    if (bd_over_current(&c->bd) || mv < c->floor) return false;
    if (mv < c->lowest) c->lowest = mv;
    c->rail_beat = beat;
    return true;
}

void rail_poll(bw_core *c) {
    uint16_t mv;
    if (c->rail == RAIL_OFF) return;
    if (rail_closed(c) && bd_over_current(&c->bd)) {
        trip(c, F_OVER_CURRENT, 0);
        return;
    }
    if (c->rail == RAIL_FALLING) {
        bool fallen = BD_SENSED ? bd_rail_mv(&c->bd) < OFF_MV
                                : ms_past(c, &c->rail_since, FALL_MS);
        if (fallen) c->rail = RAIL_OFF;
        return;
    }
    if (!BD_SENSED || c->rail != RAIL_ON) return;
    mv = bd_rail_mv(&c->bd);
    if (mv < c->lowest) c->lowest = mv;
    if (mv < c->floor) trip(c, F_SAGGED, mv);
}

static uint8_t answer(bw_core *c, uint32_t since) {
    uint32_t took = ms_since(c, since);
    if (c->work.silent) return F_NONE;
    reply_begin(c);
    send8(c, c->rail);
    send16(c, rail_mv(c));
    send8(c, BD_SENSED);
    send32(c, c->rail_counter);
    send16(c, took > 65535 ? 65535 : (uint16_t)took);
    send_end(c);
    return F_NONE;
}

static BW_HERE uint8_t off(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    uint32_t since = bd_now(&c->bd), from;
    bool fallen;
    line_refuse_waiting(c, 1u << K_RUN | 1u << K_REPEAT | 1u << K_HOLD, F_HALTED);
    bus_release(c);
    rail_open(c, RAIL_FALLING);
    c->work.limit = FALL_MS;
    from = BD_SENSED ? since : o->rail_since;
    do {
        breathe(c);
        fallen = o->rail == RAIL_OFF && (!BD_SENSED || bd_rail_mv(&c->bd) < OFF_MV);
    } while (!fallen && !ms_past(c, &from, FALL_MS));
    if (fallen) return answer(c, since);
    o->rail = RAIL_FALLING;
    return fault_of(c, F_POWERED, bd_rail_mv(&c->bd));
}

/* Lines that idle low are held low from the start; the others rise with the rail. */
static BW_HERE void close_switch(bw_core *c) {
    bus_release(c);
    bus_free(c);
    shape_hold(c);
    bd_control_drive(&c->bd, c->held.mask & (bd_lines_t)~c->held.level, 0);
    c->rail = RAIL_RISING;
    c->rail_since = bd_now(&c->bd);
    bd_rail(&c->bd, true);
}

static BW_HERE uint8_t on(bw_core *c, uint16_t settle) {
    bw_core *o = BW_NEAR(c);
    uint32_t steady;
    uint16_t mv, at = 0, highest = 0;
    bool over;
    close_switch(c);
    steady = o->rail_since;
    c->work.limit = settle ? settle : 1;
    do {
        over = ms_past(c, &c->rail_since, settle);
        breathe(c);
        if (c->work.cause == E_DEAD_MAN) return F_HALTED;
        if (o->rail != RAIL_RISING) return o->rail_fault;
        mv = rail_mv(c);
        if (mv > highest) highest = mv;
        if (mv > at + STEADY_MV || mv + STEADY_MV < at) {
            at = mv;
            steady = bd_now(&c->bd);
        }
    } while (!over && !(BD_SENSED && mv >= c->floor && ms_past(c, &steady, STEADY_MS)));
    if (BD_SENSED && mv < c->floor) {
        o->rail_fault = F_RAIL_OFF;
        o->rail_detail = 0;
        rail_open(c, RAIL_TRIPPED);
        return fault_of(c, F_NOT_RISEN, highest);
    }
    o->rail = RAIL_ON;
    c->lowest = mv;
    bd_control_drive(&c->bd, c->held.mask, c->held.level);
    return answer(c, o->rail_since);
}

typedef struct {
    uint16_t expected, settle, floor;
    uint8_t action, shapes;
} asked;

static const bw_field fields[] BD_ROM = {
    {FIELD_FLAG, offsetof(asked, action)}, {FIELD_16, offsetof(asked, expected)},
    {FIELD_16, offsetof(asked, settle)}, {FIELD_16, offsetof(asked, floor)},
    {FIELD_8, offsetof(asked, shapes)},
};

uint8_t serve_rail(bw_core *c) {
    asked a;
    uint8_t shapes = shape_count(c), code = take_all(c, &a, ROW_OF(fields));
    if (code) return code;
    if (!a.action) return off(c); /* whatever else it says: off is never refused */
    if (shapes == 0 || shapes != a.shapes) return fault_of(c, F_SHAPES_MISSING, shapes);
    /* No further than 5 % from it. */
    if (a.expected < BD_RAIL_MV - BD_RAIL_MV / 20 || a.expected > BD_RAIL_MV + BD_RAIL_MV / 20)
        return fault_of(c, F_VOLTAGE, BD_RAIL_MV);
    c->floor = a.floor;
    if (c->rail != RAIL_ON) return on(c, a.settle);
    rail_poll(c);
    if (c->rail != RAIL_ON) return rail_refusal(c);
    return answer(c, bd_now(&c->bd));
}
