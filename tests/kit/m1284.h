/* A second board, as somebody would write it from template.h: an ATmega1284P at 5 V and 16 MHz for small
 * modules. D0-D7 are port C; A0-A7 port B, A8-A14 PA0-PA6, A15 PD6; OE, WE and CS0 PD2-PD4; the rail's
 * switch PD5 (high: on); rail sense ADC7, a third of the rail against 2.56 V; write switch PD7 (low:
 * locked); the line is USART0. For tests only: nobody has built it. */
#ifndef BD_M1284_H
#define BD_M1284_H

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <util/delay_basic.h>

/* Few of the functions need anything of the board's memory. */
#pragma GCC diagnostic ignored "-Wunused-parameter"

typedef struct {
    volatile uint16_t turns; /* of timer 1 */
} bd_state;
typedef uint16_t bd_wait_t; /* loops of four periods */
typedef uint8_t bd_lines_t;

#define BD_ROM PROGMEM
#define BD_ROM8(at) pgm_read_byte(at)
#define BD_ROM16(at) pgm_read_word(at)
#define BD_ROM32(at) pgm_read_dword(at)

#define BD_QUEUE 900
#define BD_SPARE 48
#define BD_RING 956
#define BD_RX_BODY 640
#define BD_TX_BODY 1056
#define BD_OUT 600
#define BD_SHAPES 8
#define BD_SCRIPTS 3
#define BD_SCRIPT_BYTES 384
#define BD_RUNS 3
#define BD_EMIT 32
#define BD_POOL 176
#define BD_ROWS 27
#define BD_SCRATCH 520

#define BD_FIRMWARE "kit 0.1"
#define BD_NAME "test m1284"
#define BD_DATA_LINES 8
#define BD_ADDRESS_LINES 16
#define BD_CONTROL_LINES 3
#define BD_CONTROL {{0, "OE"}, {1, "WE"}, {0, "CS0"}}
#define BD_RESET_LINE {255, 0}
#define BD_PROTECT_LINE {255, 0}
#define BD_HAS_MARK 0
#define BD_PATH 0
#define BD_RAIL_MV 5000
#define BD_IO_MV 5000
#define BD_IO_MEASURED 0
#define BD_INPUT_MV 5500
#define BD_LIMIT_MA 0
#define BD_SUPPLY 0
#define BD_SENSED 1

#define BD_CLOCK F_CPU
#define BD_RESET_RATE 250000
#define BD_RATES {250000, 500000, 1000000}
#define BD_RATE_COUNT 3
#define BD_SETUP_NS 250
#define BD_PULSE_NS 250
#define BD_HOLD_NS 250
#define BD_RECOVER_NS 250
#define BD_RELEASE_NS 250
#define BD_OP_NS 60000
#define BD_CYCLE_NS 60000
#define BD_ATOMIC_OP_NS 0
#define BD_ATOMIC_CYCLE_NS 0
#define BD_TICKS 2 /* an int of 16 bits here: the core must not reckon in it */

static inline uint32_t bd_now(bd_state *b) {
    uint8_t before = SREG;
    uint16_t low, turns;
    cli();
    low = TCNT1;
    turns = b->turns;
    if (TIFR1 & _BV(TOV1) && low < 0x8000) turns++;
    SREG = before;
    return (uint32_t)turns << 16 | low;
}
static inline uint8_t bd_beat(bd_state *b) {
    (void)TCNT1L; /* takes the high byte along */
    return TCNT1H >> 3;
}

static inline void bd_idle(bd_state *b) {}
static inline void bd_lock(bd_state *b) { cli(); }
static inline void bd_unlock(bd_state *b) { sei(); }
static inline bool bd_tx_free(bd_state *b) { return UCSR0A & _BV(UDRE0); }
static inline bool bd_tx_idle(bd_state *b) { return UCSR0A & _BV(TXC0); }
static inline void bd_tx(bd_state *b, uint8_t byte) {
    cli();
    UDR0 = byte;
    UCSR0A = _BV(U2X0) | _BV(TXC0); /* takes "all has left" back */
    sei();
}
static inline void bd_rate(bd_state *b, uint32_t rate) { UBRR0 = (uint16_t)(F_CPU / 8 / rate - 1); }

static inline void bd_address_drive(bd_state *b, bool on) {
    DDRB = on ? 0xFF : 0;
    DDRA = on ? 0x7F : 0;
    DDRD = on ? DDRD | _BV(6) : DDRD & ~_BV(6);
    if (on) return;
    PORTB = PORTA = 0;
    PORTD &= ~_BV(6);
}
static inline void bd_address(bd_state *b, uint32_t address) {
    uint8_t high = (uint8_t)(address >> 8);
    PORTB = (uint8_t)address;
    PORTA = high & 0x7F;
    if (high & 0x80) PORTD |= _BV(6);
    else PORTD &= ~_BV(6);
}
static inline uint8_t m1284_high(uint8_t a, uint8_t d) { return (a & 0x7F) | (d & _BV(6)) << 1; }
static inline uint32_t bd_address_in(bd_state *b) {
    uint8_t low = PINB, a = PINA;
    return (uint16_t)(m1284_high(a, PIND) << 8 | low);
}
/* A pin is seen up to two periods late. */
static inline uint32_t bd_data_in(bd_state *b) {
    __asm__ volatile("nop\n\tnop");
    return PINC;
}
static inline void bd_data_drive(bd_state *b, uint32_t mask, uint32_t levels) {
    PORTC = (uint8_t)levels & (uint8_t)mask;
    DDRC = (uint8_t)mask;
}
/* In this order, or a line charged high would be driven low on its way. */
static inline void bd_data_free(bd_state *b) {
    DDRC = 0;
    PORTC = 0;
}

#define M1284_CONTROL 0x1C
static inline void bd_control(bd_state *b, bd_lines_t levels) {
    PORTD = (PORTD & ~M1284_CONTROL) | ((uint8_t)(levels << 2) & DDRD & M1284_CONTROL);
}
static inline void bd_control_drive(bd_state *b, bd_lines_t mask, bd_lines_t levels) {
    uint8_t out = (uint8_t)(mask << 2) & M1284_CONTROL;
    DDRD &= out | (uint8_t)~M1284_CONTROL;
    PORTD = (PORTD & ~M1284_CONTROL) | ((uint8_t)(levels << 2) & out);
    DDRD |= out;
}
static inline bd_lines_t bd_control_in(bd_state *b) { return (PIND & M1284_CONTROL) >> 2; }

/* PIN, DDR and PORT of a port follow each other. */
static inline volatile uint8_t *m1284_pin(uint8_t group, uint8_t line, uint8_t *bit) {
    if (group == 2) line += 2;
    *bit = (uint8_t)(1 << (group == 1 && line == 15 ? 6 : line & 7));
    if (group == 0) return &PINC;
    if (group == 2 || line == 15) return &PIND;
    return line < 8 ? &PINB : &PINA;
}
static inline void bd_line(bd_state *b, uint8_t group, uint8_t line, uint8_t action) {
    uint8_t bit;
    volatile uint8_t *pin = m1284_pin(group, line, &bit);
    if (action < 2) pin[1] &= ~bit;
    if (action & 1) pin[2] |= bit;
    else pin[2] &= ~bit;
    if (action >= 2) pin[1] |= bit;
}
#define BD_TRY
static inline bool m1284_try(volatile uint8_t *pin, uint8_t bit, bool high, uint8_t ddr, uint8_t port) {
    uint8_t wanted = high ? bit : 0, shows;
    pin[2] = (port & ~bit) | wanted;
    pin[1] = ddr | bit;
    __asm__ volatile("nop\n\tnop");
    shows = pin[0] & bit;
    if (shows == wanted) return true;
    pin[1] = ddr;
    pin[2] = port;
    return false;
}
static inline bool bd_try(bd_state *b, uint8_t group, uint8_t line, bool high) {
    uint8_t bit;
    volatile uint8_t *pin = m1284_pin(group, line, &bit);
    cli();
    bool stays = m1284_try(pin, bit, high, pin[1], pin[2]);
    sei();
    return stays;
}
static inline bool bd_look(bd_state *b, uint8_t group, uint8_t line, bool high, uint8_t *seen) {
    uint8_t bit, a, d, ddr, port;
    volatile uint8_t *pin = m1284_pin(group, line, &bit);
    cli();
    ddr = pin[1];
    port = pin[2];
    bool stays = m1284_try(pin, bit, high, ddr, port);
    seen[0] = PINC;
    seen[4] = PINB;
    a = PINA;
    d = PIND;
    pin[1] = ddr;
    pin[2] = port;
    sei();
    seen[5] = m1284_high(a, d);
    seen[8] = (d & M1284_CONTROL) >> 2;
    seen[1] = seen[2] = seen[3] = seen[6] = seen[7] = seen[9] = 0;
    return stays;
}

static inline bd_wait_t bd_wait_of(uint16_t ns) { return (uint16_t)(((uint32_t)ns + 249) / 250); }
static inline uint16_t bd_wait_ns(bd_wait_t wait) { return wait > 262 ? 65535 : wait * 250u; }
static inline void bd_wait(bd_state *b, bd_wait_t wait) {
    if (wait) _delay_loop_2(wait); /* 0 would be 65536 loops */
}

static inline void bd_rail(bd_state *b, bool on) { PORTD = on ? PORTD | _BV(5) : PORTD & ~_BV(5); }
static inline uint16_t bd_rail_mv(bd_state *b) { return ADC * 15u / 2u; }
static inline bool bd_over_current(bd_state *b) { return false; }
static inline bool bd_ready(bd_state *b) { return true; }
#define BD_WRITE_LOCKED(b) (!(PIND & _BV(7)))
static inline void bd_mark(bd_state *b, bool active) {}
static inline uint32_t bd_boot_id(bd_state *b) {
    uint32_t id = eeprom_read_dword((const uint32_t *)0) + 1;
    eeprom_update_dword((uint32_t *)0, id);
    return id;
}

#endif
