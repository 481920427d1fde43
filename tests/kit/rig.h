/* A rig around a simulated controller: a module on its ports, its line on a pseudo-terminal or in the
 * hands of a test. For tests only: it links the simulator's library, which the product neither links
 * nor ships. */
#ifndef RIG_H
#define RIG_H

#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_cycle_timers.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "flash.h"
#include "flash_page.h"

/* Addresses of the registers in data space (datasheet of the ATmega640 to 2561). */
enum {
    PIN_A = 0x20, PIN_B = 0x23, PIN_C = 0x26, PIN_D = 0x29, PIN_E = 0x2C, PIN_G = 0x32,
    PIN_H = 0x100, PIN_K = 0x106, PIN_L = 0x109,
    ADC_LOW = 0x78, ADC_HIGH = 0x79, ADC_CONTROL = 0x7A,
    UART_STATUS = 0xC0, UART_CONTROL = 0xC1, UART_RATE = 0xC4, UART_DATA = 0xC6
};

/* Groups of lines. */
enum { DATA, ADDRESS, CONTROL, GROUPS };

/* A line that is tied to ground, to the rail, or to another line; each stands in one tie only. */
enum { TO_GROUND, TO_RAIL, TO_LINE };
typedef struct {
    uint8_t group, line, to, other_group, other_line;
    bool fights;
    uint64_t since;
} rig_tie;
#define TIES 8

/* What the lines were at, whenever something of this changed. */
typedef struct {
    uint64_t at;
    uint32_t data, address; /* driven lines */
    uint8_t control, levels;
    bool rail;
} rig_move;
#define MOVES 2048

typedef struct {
    avr_t *avr;
    uint32_t *store, *ram;
    uint32_t store_words, ram_words;
    bool chips; /* the store is two flash chips side by side */
    flash_chip chip[2];
    bool pages; /* or four page-write chips */
    page_chip page[4];
    uint32_t access_ns, pulse_ns, setup_ns, recovery_ns;
    /* Cycles of the last changes. */
    uint64_t address_at, control_at, data_at, write_at, write_end, rail_at, read_at;
    uint32_t address, word;
    uint32_t charge[2]; /* what a data or address line keeps that nobody drives */
    uint16_t control;
    bool writing, output, powered;
    /* Books. */
    uint64_t reads, ram_writes, program_at, program_cycles, program_words;
    uint32_t early, fights, short_pulses, late_data, moved, hasty, unpowered, store_writes;
    /* Faults: the supply has so much from a cycle on; lines feed the rail while it is off; the current
     * limit acts; the module is busy. */
    uint64_t supply_at;
    uint16_t supply_mv, feed_mv, fall_mv; /* the last: what it had when the switch opened */
    bool limited, busy;
    rig_tie tie[TIES];
    unsigned ties;
    /* Their books: changes of the control lines; cycles that one data or address line was driven alone,
     * and that a driven line stood against what it is tied to, alone or among others. */
    uint64_t strobes, alone_at, alone, fought_alone, fought;
    bool keeps_moves, is_alone;
    rig_move move[MOVES];
    unsigned moves;
} rig_module;

typedef struct {
    avr_t *avr;
    avr_uart_t *uart;
    int master, slave;
    uint64_t buffer_empty, shift_end, last_byte;
    uint8_t in[8192];
    unsigned in_count, in_at;
    uint8_t fifo[2];
    uint64_t since[2]; /* when its bytes came */
    unsigned fifo_count;
    bool receiving, overrun, jammed;
    /* Without a pseudo-terminal: the host's rate (0: the controller's), and what it has heard. */
    uint32_t rate;
    uint32_t leaves; /* cycles in which a byte leaves; 0: those of the controller's rate */
    uint8_t heard[2048];
    unsigned heard_count, frame; /* bytes of it up to the end of a frame; 0: none has ended */
    uint64_t frame_end;
    uint64_t rate_at, came_at; /* when the controller changed its rate, and when the last byte came */
    /* Books. */
    uint32_t overruns, overwritten, overrun_pc; /* the last: where it was when the first byte was lost */
    uint64_t waited; /* the longest that a byte waited to be taken */
    uint64_t sent, received, asked, answered;
    uint8_t before; /* the byte that came last from the host */
    int place; /* in a frame that is sent: 0 delimiter, 1 code byte, 2 and more the body */
    uint8_t kind;
    struct {
        uint64_t frames, first, last, reads_before, reads, bytes, idle;
    } of[256];
    const uint64_t *reads;
    uint64_t wall, simulated, turns; /* from where both times are counted; calls of line_keeps_pace */
} rig_line;

typedef struct {
    avr_t *avr;
    rig_module module;
    rig_line line;
    uint16_t lowest; /* the stack */
} rig;

/* Runs some instructions; false if the firmware has ended. */
bool rig_turn(rig *r);
/* Commands on standard input; see rig_steps.c. False if the firmware has ended. */
bool rig_steps(rig *r, FILE *out);

void module_begin(rig_module *m, avr_t *avr);
void module_reset(rig_module *m); /* the controller's registers are as after a reset */
uint32_t module_violations(const rig_module *m);
uint32_t module_programmed(const rig_module *m);
uint16_t module_mv(const rig_module *m, uint64_t at);

/* rig_pins.c: registers of the ports, as lines of a group. */
uint32_t pins_driven(const rig_module *m, unsigned group);
uint32_t pins_port(const rig_module *m, unsigned group); /* driven high, or pulled up */
/* What lines show that are tied, where the others show `level`. */
void pins_tied(const rig_module *m, uint32_t level[GROUPS]);
void pins_noted(rig_module *m); /* after every change */

bool line_begin(rig_line *l, avr_t *avr); /* the line is in the hands of a test */
bool line_open(rig_line *l);              /* on a pseudo-terminal */
void line_reset(rig_line *l);
/* Takes what the host has sent; true if something came. */
bool line_take(rig_line *l);
/* After each turn of the firmware: keeps simulated time to the wall's where it has to. True if standard
 * input has ended. `read_at`: when a word was read last. */
void line_begins_pace(rig_line *l);
bool line_keeps_pace(rig_line *l, uint64_t read_at);
bool line_say(rig_line *l, const uint8_t *bytes, unsigned count);

#endif
