/* usage: rig_small ELF CLOCK [CONTENTS]: the firmware of m1284.h, with a ROM of 64 KiB in its socket that
 * holds this file, or with nothing in it. Prints the name of a pseudo-terminal, serves it until its
 * standard input ends, then writes its books to standard error. */
#define _GNU_SOURCE
#include <sim_elf.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig.h"

/* Port D: the control lines, the rail's switch, A15. */
enum { OE = 1 << 2, WE = 1 << 3, CS = 1 << 4, SWITCH = 1 << 5, A15 = 1 << 6, UNLOCKED = 1 << 7 };
enum { RAIL_MV = 5000, RISE_US = 3000, FALL_US = 20000, ACCESS_NS = 150, WORDS = 0x10000 };

static avr_t *avr;
static uint8_t rom[WORDS];
static bool fitted, powered, writes;
static uint8_t charge; /* what a data line keeps that nobody drives */
static uint32_t lines; /* address and control lines as they were last */
static uint64_t changed_at, rail_at, read_at, reads;
static unsigned early, fights, written, unpowered;

static uint8_t driven(int pin) {
    return avr->data[pin + 1];
}

static uint8_t port(int pin) {
    return avr->data[pin + 2];
}

static uint8_t out(int pin) {
    return driven(pin) & port(pin);
}

static uint64_t ns_since(uint64_t cycle) {
    return (avr->cycle - cycle) * 1000 / (avr->frequency / 1000000);
}

/* Control lines that nobody drives are pulled up to the module's own rail. */
static uint8_t control(void) {
    return (out(PIN_D) | (powered ? (uint8_t)~driven(PIN_D) : 0)) & (OE | WE | CS);
}

static uint16_t address(void) {
    return (uint16_t)(out(PIN_B) | (out(PIN_A) & 0x7F) << 8 | (out(PIN_D) & A15 ? 0x8000 : 0));
}

static bool answers(void) {
    return fitted && powered && (control() & (OE | WE | CS)) == WE;
}

static void port_written(avr_t *of, avr_io_addr_t at, uint8_t value, void *with) {
    bool is, writing;
    uint32_t now;
    (void)with;
    of->data[at] = value;
    is = out(PIN_D) & SWITCH;
    if (is != powered) rail_at = avr->cycle;
    powered = is;
    charge = (uint8_t)((charge & ~driven(PIN_C)) | port(PIN_C));
    now = (uint32_t)control() << 16 | address();
    if (now != lines) changed_at = avr->cycle;
    lines = now;
    /* Pull-ups feed a module, too. */
    if (!powered && ns_since(rail_at) > 1000u * FALL_US &&
        (port(PIN_C) | port(PIN_B) | (port(PIN_A) & 0x7F) | (port(PIN_D) & (OE | WE | CS | A15))))
        unpowered++;
    if (answers() && driven(PIN_C)) fights++;
    writing = powered && !(control() & (WE | CS));
    if (writing && !writes) written++;
    writes = writing;
}

static uint8_t data(void) {
    if (answers()) {
        /* The input synchroniser shows what the pin had one and a half periods before. */
        bool is_early = ns_since(changed_at) < ACCESS_NS + 1500 / (avr->frequency / 1000000);
        early += is_early;
        reads += read_at != changed_at;
        read_at = changed_at;
        charge = rom[address()] ^ (is_early ? 0xFF : 0);
    }
    return (uint8_t)((charge & ~driven(PIN_C)) | out(PIN_C));
}

static uint8_t port_read(avr_t *of, avr_io_addr_t at, void *with) {
    (void)of;
    (void)with;
    switch (at) {
    case PIN_A: return port(PIN_A);
    case PIN_B: return port(PIN_B);
    case PIN_C: return data();
    default: return control() | (port(PIN_D) & (SWITCH | A15)) | UNLOCKED;
    }
}

/* A third of the rail against 2.56 V. */
static uint8_t sense(avr_t *of, avr_io_addr_t at, void *with) {
    uint64_t us = ns_since(rail_at) / 1000, mv = powered ? RAIL_MV : 0;
    (void)of;
    (void)with;
    if (powered && us < RISE_US) mv = RAIL_MV * us / RISE_US;
    if (!powered && rail_at && us < FALL_US) mv = RAIL_MV - RAIL_MV * us / FALL_US;
    mv = mv * 2 / 15;
    return (uint8_t)(at == ADC_LOW ? mv : mv >> 8);
}

static void kept(avr_t *of, avr_io_addr_t at, uint8_t value, void *with) {
    (void)with;
    of->data[at] = value;
}

static void pins_begin(void) {
    for (int pin = PIN_A; pin <= PIN_D; pin += 3) {
        for (int more = 1; more < 3; more++) avr->io[AVR_DATA_TO_IO(pin + more)].w.c = port_written;
        avr->io[AVR_DATA_TO_IO(pin)].r.c = port_read;
    }
    for (int at = ADC_LOW; at <= ADC_HIGH; at++) avr->io[AVR_DATA_TO_IO(at)].r.c = sense;
    avr->io[AVR_DATA_TO_IO(ADC_CONTROL)].w.c = kept;
}

/* False if the firmware has ended. */
static bool served(rig_line *l) {
    line_begins_pace(l);
    for (;;) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) return false;
        if (line_keeps_pace(l, read_at)) return true;
    }
}

int main(int argc, char **argv) {
    static elf_firmware_t firmware;
    static rig_line line;
    FILE *to = fdopen(dup(1), "w"), *from;
    dup2(2, 1); /* the simulator's own words */
    if (argc < 3 || argc > 4 || !to || elf_read_firmware(argv[1], &firmware)) return 2;
    if (argc == 4) {
        fitted = (from = fopen(argv[3], "rb")) && fread(rom, WORDS, 1, from) == 1 && !fclose(from);
        if (!fitted) return 2;
    }
    avr = avr_make_mcu_by_name("atmega1284p");
    if (!avr) return 2;
    avr_init(avr);
    firmware.frequency = (uint32_t)strtoul(argv[2], 0, 0);
    avr_load_firmware(avr, &firmware);
    avr->frequency = firmware.frequency;
    avr->log = LOG_ERROR;
    avr->run_cycle_limit = 200;
    pins_begin();
    line.reads = &reads;
    if (!line_begin(&line, avr) || !line_open(&line)) return 2;
    fprintf(to, "%s\n", ptsname(line.master));
    fflush(to);
    if (!served(&line)) return 1;
    fprintf(stderr, "reads %llu; early %u, fights %u, written %u, unpowered %u, overruns %u\n",
            (unsigned long long)reads, early, fights, written, unpowered, line.overruns);
    return early + fights + written + unpowered + line.overruns + line.overwritten ? 1 : 0;
}
