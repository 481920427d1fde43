/* The whole core with a module on its pins, in made-up time. Each line of standard input is a time in
 * microseconds and bytes in hexadecimal, which come in then; the last has no bytes and ends it. With
 * `stall` or `flow` instead of bytes the line takes none from then on, or takes them again. What is
 * sent is printed in the same way, a frame a line. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bw.h"
#include "host_module.h"

#define STORE_WORDS 0x1000u
#define RAM_WORDS 0x100u
#define RISE_US 5000u
#define FALL_US 20000u

static bw_core core;
static host_module module;
static uint32_t clock_us = 1000, next_at, rail_since;
static uint8_t next_bytes[4096];
static unsigned next_count;
static bool ended, rail, stalled, flow, next_stalled;

static bool more(void) {
    static char text[16384];
    char *word;
    if (!fgets(text, sizeof text, stdin)) return false;
    word = strtok(text, " \n");
    if (!word) return false;
    next_at = (uint32_t)strtoul(word, 0, 10);
    next_count = 0;
    flow = false;
    while ((word = strtok(0, " \n"))) {
        if (!strcmp(word, "stall") || !strcmp(word, "flow")) {
            flow = true;
            next_stalled = *word == 's';
            continue;
        }
        next_bytes[next_count++] = (uint8_t)strtoul(word, 0, 16);
    }
    return true;
}

static uint32_t now(void *with) {
    (void)with;
    return clock_us;
}

static void idle(void *with) {
    uint32_t left = next_at - clock_us;
    (void)with;
    /* Where nothing comes for long, in greater steps. */
    clock_us += (int32_t)left > 100000 ? left / 2000 : 1;
    while (!ended && (int32_t)(clock_us - next_at) >= 0) {
        for (unsigned n = 0; n < next_count; n++) bw_receive(&core, next_bytes[n]);
        if (flow) stalled = next_stalled;
        if ((next_count == 0 && !flow) || !more()) {
            ended = true;
            if (core.working) exit(3); /* it would go on for ever */
        }
    }
}

static bool takes(void *with) {
    (void)with;
    return !stalled;
}

static bool yes(void *with) {
    (void)with;
    return true;
}

static bool no(void *with) {
    (void)with;
    return false;
}

static void tx(void *with, uint8_t byte) {
    static bool begun;
    (void)with;
    if (byte == 0) {
        if (begun) printf("\n");
        begun = false;
    } else {
        if (!begun) printf("%u", clock_us);
        begun = true;
        printf(" %02X", byte);
    }
}

static void rate(void *with, uint32_t wanted) {
    (void)with;
    (void)wanted;
}

static void changed(void *with, const host_pins *pins) {
    (void)with;
    if (pins->rail != rail) rail_since = clock_us;
    rail = pins->rail;
    module_changed(&module, pins);
}

static void pause_ns(void *with, uint16_t ns) {
    (void)with;
    (void)ns;
}

static uint32_t data(void *with, const host_pins *pins) {
    (void)with;
    return module_data(&module, pins);
}

static uint32_t address(void *with, const host_pins *pins) {
    (void)with;
    return (pins->address & pins->address_out) | pins->address_up;
}

static uint16_t control(void *with, const host_pins *pins) {
    (void)with;
    return module_control(&module, pins) & BW_CONTROL_MASK;
}

static uint16_t rail_mv(void *with) {
    uint32_t gone = clock_us - rail_since;
    (void)with;
    if (rail) return (uint16_t)(gone >= RISE_US ? 3300 : 3300 * gone / RISE_US);
    if (!rail_since || gone >= FALL_US) return 0;
    return (uint16_t)(3300 - 3300 * gone / FALL_US);
}

static const host_ops ops = {now,      idle, takes,   takes,   tx,      rate, changed,
                             pause_ns, data, address, control, rail_mv, no,   yes};

int main(void) {
    static uint32_t store[STORE_WORDS], ram[RAM_WORDS];
    for (uint32_t n = 0; n < STORE_WORDS; n++) store[n] = (n >> 4) * 0x9E3779B1u;
    module.store = store;
    module.store_words = STORE_WORDS;
    module.ram = ram;
    module.ram_words = RAM_WORDS;
    core.bd.ops = &ops;
    core.bd.boot_id = 1;
    bw_begin(&core);
    if (!more()) return 2;
    while (!ended)
        if (!bw_step(&core) && core.in.head == core.in.scan) clock_us += 20;
    stalled = false;
    while (bw_step(&core)) {}
    fprintf(stderr, "violations %u, writes to the store %u, to the RAM %u, rail %s\n",
            module.violations, module.store_writes, module.ram_writes, rail ? "on" : "off");
    return 0;
}
