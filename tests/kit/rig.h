/* A rig around a simulated controller: a module on its ports, its line on a pseudo-terminal. For
 * tests only: it links the simulator's library, which the product neither links nor ships. */
#ifndef RIG_H
#define RIG_H

#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_cycle_timers.h>
#include <stdbool.h>
#include <stdint.h>

#include "flash.h"

/* Addresses of the registers in data space (datasheet of the ATmega640 to 2561). */
enum {
    PIN_A = 0x20, PIN_B = 0x23, PIN_C = 0x26, PIN_D = 0x29, PIN_E = 0x2C, PIN_G = 0x32,
    PIN_H = 0x100, PIN_K = 0x106, PIN_L = 0x109,
    ADC_LOW = 0x78, ADC_HIGH = 0x79, ADC_CONTROL = 0x7A,
    UART_STATUS = 0xC0, UART_CONTROL = 0xC1, UART_RATE = 0xC4, UART_DATA = 0xC6
};

typedef struct {
    avr_t *avr;
    uint32_t *store, *ram;
    uint32_t store_words, ram_words;
    bool chips; /* the store is two flash chips side by side */
    flash_chip chip[2];
    uint32_t access_ns, pulse_ns, setup_ns, recovery_ns;
    /* Cycles of the last changes. */
    uint64_t address_at, control_at, data_at, write_at, write_end, rail_at, read_at;
    uint32_t address, floating, word;
    uint16_t control;
    bool writing, output, powered;
    /* Books. */
    uint64_t reads, ram_writes, program_at, program_cycles, program_words;
    uint32_t early, fights, short_pulses, late_data, moved, hasty, unpowered, store_writes;
} rig_module;

typedef struct {
    avr_t *avr;
    avr_uart_t *uart;
    int master, slave;
    uint64_t buffer_empty, shift_end, last_byte;
    uint8_t in[8192];
    unsigned in_count, in_at;
    uint8_t fifo[2];
    unsigned fifo_count;
    bool receiving, overrun;
    /* Books. */
    uint32_t overruns, overwritten;
    uint64_t sent, received, asked, answered;
    uint8_t before; /* the byte that came last from the host */
    int place; /* in a frame that is sent: 0 delimiter, 1 code byte, 2 and more the body */
    uint8_t kind;
    struct {
        uint64_t frames, first, last, reads_before, reads, bytes, idle;
    } of[256];
    const uint64_t *reads;
} rig_line;

void module_begin(rig_module *m, avr_t *avr);
uint32_t module_violations(const rig_module *m);
uint32_t module_programmed(const rig_module *m);
bool line_begin(rig_line *l, avr_t *avr);
/* Takes what the host has sent; true if something came. */
bool line_take(rig_line *l);

#endif
