/* A line for tests without one: what is sent is kept, time stands still, the pins reach nothing. */
#ifndef QUIET_OPS_H
#define QUIET_OPS_H

#include "bw.h"

static uint8_t sent[8192];
static unsigned sent_count;
static uint32_t quiet_clock;

static uint32_t quiet_now(void *with) { (void)with; return quiet_clock; }
static void quiet_idle(void *with) { (void)with; }
static bool quiet_yes(void *with) { (void)with; return true; }
static bool quiet_no(void *with) { (void)with; return false; }
static void quiet_tx(void *with, uint8_t byte) {
    (void)with;
    if (sent_count < sizeof sent) sent[sent_count++] = byte;
}
static void quiet_rate(void *with, uint32_t rate) { (void)with; (void)rate; }
static void quiet_changed(void *with, const host_pins *pins) { (void)with; (void)pins; }
static void quiet_wait(void *with, uint16_t ns) { (void)with; (void)ns; }
static uint32_t quiet_lines(void *with, const host_pins *pins) { (void)with; (void)pins; return 0; }
static uint16_t quiet_control(void *with, const host_pins *pins) {
    (void)with;
    (void)pins;
    return 0;
}
static uint16_t quiet_mv(void *with) { (void)with; return 0; }

static const host_ops quiet_ops = {
    quiet_now,  quiet_idle,  quiet_yes,   quiet_yes,     quiet_tx, quiet_rate, quiet_changed,
    quiet_wait, quiet_lines, quiet_lines, quiet_control, quiet_mv, quiet_no,   quiet_yes};

#endif
