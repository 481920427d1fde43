/* ATmega2560. D0-31 are ports A, B, C, D; A0-7 L, A8-15 K, A16-23 H; control lines G0-5; rail switch
 * E5 (high: on), mark E6, current limit E7 (low: it acts), ready E4; rail sense on ADC0 through a
 * divider by two, against the internal 2.56 V; the line is USART0. */
#ifndef BD_M2560_H
#define BD_M2560_H

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <util/delay_basic.h>

#ifndef F_CPU
#define F_CPU 16000000
#endif
#define MHZ (F_CPU / 1000000)

/* The send ring: two pages at the start of the memory, since its interrupt and the bursts count in
 * that way; an index is the address. See m2560_asm.h and the Makefile. */
extern uint8_t m2560_ring[512];
#define BD_OUT_RING m2560_ring
#define BD_OUT_FIRST 0x200
#define BD_OUT 512

#define BD_ROM __attribute__((__progmem__))
#define BD_ROM8(at) pgm_read_byte(at)
#define BD_ROM16(at) pgm_read_word(at)
#define BD_ROM32(at) pgm_read_dword(at)

typedef struct {
    volatile uint16_t turns; /* of timer 1 */
} bd_state;

typedef uint8_t bd_lines_t;

#define BD_HERE inline __attribute__((always_inline))

/* Through a register, two bytes an instruction; by address it would be four. */
#define BD_NEAR(p)                     \
    __extension__({                    \
        __typeof__(p) near_ = (p);     \
        __asm__("" : "+r"(near_));     \
        near_;                         \
    })

/* The assembler files know where this field stands; a number there and here changes together. */
#define M2560_AT(type, field, at) \
    _Static_assert(offsetof(type, field) == (at), "the assembler expects " #type "." #field " at " #at)

/* Clock periods, two of them for the input synchroniser. */
typedef uint16_t bd_wait_t;

#include "m2560_layout.h"
#define BD_BURSTS "../boards/m2560_bursts.h"
#define BD_QUICK "../boards/m2560_quick.h"

#define BD_RING 2666
#define BD_SPARE 48
#define BD_QUEUE 2616
#define BD_RX_BODY 860
#define BD_TX_BODY 1056
#define BD_SHAPES 8
#define BD_SCRIPTS 3
#define BD_SCRIPT_BYTES 384
#define BD_RUNS 3
#define BD_EMIT 32
#define BD_POOL 176
#define BD_ROWS 62
#define BD_SCRATCH 682
#define BD_FIRMWARE "kit 0.1"
#ifndef BD_NAME
#define BD_NAME "kit m2560"
#endif
#define BD_DATA_LINES 32
#define BD_ADDRESS_LINES 24
#define BD_CONTROL_LINES 6
#define BD_CONTROL {{0, "OE"}, {1, "WE"}, {0, "CS0"}, {0, "CS1"}, {0, "RST"}, {0, "WP"}}
#define BD_RESET_LINE {4, 0}
#define BD_PROTECT_LINE {5, 0}
#define BD_HAS_MARK 1
#define BD_PATH 0
#define BD_RAIL_MV 3300
/* At 3.3 V the part runs at 8 MHz only; at 16 MHz its pins are at 5 V unless shifters stand between. */
#ifndef BD_IO_MV
#define BD_IO_MV 3300
#endif
#define BD_IO_MEASURED 0
#define BD_INPUT_MV 3800
#define BD_LIMIT_MA 200
#define BD_SUPPLY 0
#define BD_SENSED 1
#define BD_CLOCK F_CPU
/* 115200 is off by 2.1 % with either clock, more than the datasheet recommends. */
#ifndef BD_RESET_RATE
#define BD_RESET_RATE 250000
#endif
/* A byte of the fastest lasts 80 clock periods: longer than the receive interrupt. */
#ifndef BD_FASTEST
#define BD_FASTEST (F_CPU / 8)
#endif
#if BD_FASTEST >= 2000000
#define BD_RATES {250000, 500000, 1000000, 2000000}
#define BD_RATE_COUNT 4
#elif BD_FASTEST >= 1000000
#define BD_RATES {250000, 500000, 1000000}
#define BD_RATE_COUNT 3
#else
#define BD_RATES {250000, 500000}
#define BD_RATE_COUNT 2
#endif
/* Two clock periods: the instructions around a wait take longer in any case. */
#define BD_SETUP_NS (2000 / MHZ)
#define BD_PULSE_NS (2000 / MHZ)
#define BD_HOLD_NS (2000 / MHZ)
#define BD_RECOVER_NS (2000 / MHZ)
#define BD_RELEASE_NS (2000 / MHZ)
/* Measured: tests/kit_faults/lasting.rs runs the longest atomic stretches that these let through, and
 * tests/kit_faults/stretch.rs looks at each operation of core/stretch.c. */
#define BD_OP_NS (1600000 / MHZ)
#define BD_CYCLE_NS (960000 / MHZ)
#define BD_ATOMIC_OP_NS (168000 / MHZ)
#define BD_ATOMIC_CYCLE_NS (520000 / MHZ)
#define BD_TICKS (MHZ / 8)

static BD_HERE void bd_lock(bd_state *b) {
    (void)b;
    cli();
}

static BD_HERE void bd_unlock(bd_state *b) {
    (void)b;
    sei();
}

static inline uint32_t bd_now(bd_state *b) {
    uint16_t low, turns;
    cli();
    low = TCNT1;
    turns = b->turns;
    /* It has turned over and its interrupt has not come yet. */
    if ((TIFR1 & (1 << TOV1)) && low < 0x8000) turns++;
    sei();
    return (uint32_t)turns << 16 | low;
}

static inline uint8_t bd_beat(bd_state *b) {
    (void)b;
    (void)TCNT1L; /* takes the high byte along */
    return TCNT1H / (BD_TICKS * 4);
}

static BD_HERE void bd_idle(bd_state *b) { (void)b; }

static BD_HERE bool bd_tx_idle(bd_state *b) {
    (void)b;
    return UCSR0A & (1 << TXC0);
}

/* The interrupt of an empty sender does the rest; see m2560_main.c. */
#define BD_SENDS
static BD_HERE void bd_sends(bd_state *b) {
    (void)b;
    UCSR0A = 1 << U2X0 | 1 << TXC0; /* takes "all has left" back */
    UCSR0B = 1 << RXCIE0 | 1 << UDRIE0 | 1 << RXEN0 | 1 << TXEN0;
}

#define BD_BULK
#define bd_bulk(b, out, from, count) m2560_send(out, from, count)
struct bw_out;
void m2560_send(struct bw_out *out, const uint8_t *from, uint8_t count);

#define BD_TAKE
#define bd_take m2560_take
struct bw_coded;
uint16_t m2560_take(const uint8_t *from, uint8_t *to, uint8_t count, struct bw_coded *rx);

#define BD_CRC
#define bd_crc_bytes m2560_crc_bytes
uint32_t m2560_crc_bytes(const uint8_t *from, uint16_t count, uint32_t state);
extern const uint8_t m2560_crc[1024];
static inline uint32_t bd_crc(uint32_t state, uint8_t byte) {
    __asm__("eor %A0, %1\n\t"
            "mov r30, %A0\n\t"
            "ldi r31, hi8(m2560_crc)\n\t"
            "lpm %A0, Z\n\t"
            "eor %A0, %B0\n\t"
            "inc r31\n\t"
            "lpm %B0, Z\n\t"
            "eor %B0, %C0\n\t"
            "inc r31\n\t"
            "lpm %C0, Z\n\t"
            "eor %C0, %D0\n\t"
            "inc r31\n\t"
            "lpm %D0, Z"
            : "+r"(state)
            : "r"(byte)
            : "r30", "r31");
    return state;
}

static BD_HERE void bd_rate(bd_state *b, uint32_t rate) {
    (void)b;
    UBRR0 = (uint16_t)(F_CPU / 8 / rate - 1);
}

static inline void bd_address_drive(bd_state *b, bool on) {
    uint8_t all = on ? 0xFF : 0;
    (void)b;
    DDRL = all;
    DDRK = all;
    DDRH = all;
    if (!on) PORTL = PORTK = PORTH = 0;
}

/* A byte of a number where it is: the compiler would shift all of it. */
#define M2560_OUT(port, byte, number) \
    __asm__ volatile("out %[at], %" byte "[of]" : : [at] "I"(_SFR_IO_ADDR(port)), [of] "r"(number))
#define M2560_STS(port, byte, number) \
    __asm__ volatile("sts %[at], %" byte "[of]" : : [at] "i"(_SFR_MEM_ADDR(port)), [of] "r"(number))

static inline void bd_address(bd_state *b, uint32_t address) {
    (void)b;
    M2560_STS(PORTL, "A", address);
    M2560_STS(PORTK, "B", address);
    M2560_STS(PORTH, "C", address);
}

static inline uint32_t bd_data_in(bd_state *b) {
    uint32_t levels;
    (void)b;
    __asm__ volatile(
        "in %A0, %[a]\n\tin %B0, %[b]\n\tin %C0, %[c]\n\tin %D0, %[d]"
        : "=r"(levels)
        : [a] "I"(_SFR_IO_ADDR(PINA)), [b] "I"(_SFR_IO_ADDR(PINB)), [c] "I"(_SFR_IO_ADDR(PINC)),
          [d] "I"(_SFR_IO_ADDR(PIND)));
    return levels;
}

static inline void bd_data_drive(bd_state *b, uint32_t mask, uint32_t levels) {
    (void)b;
    levels &= mask;
    M2560_OUT(PORTA, "A", levels);
    M2560_OUT(PORTB, "B", levels);
    M2560_OUT(PORTC, "C", levels);
    M2560_OUT(PORTD, "D", levels);
    M2560_OUT(DDRA, "A", mask);
    M2560_OUT(DDRB, "B", mask);
    M2560_OUT(DDRC, "C", mask);
    M2560_OUT(DDRD, "D", mask);
}

static inline void bd_data_free(bd_state *b) {
    (void)b;
    DDRA = DDRB = DDRC = DDRD = 0;
    PORTA = PORTB = PORTC = PORTD = 0;
}

static BD_HERE void bd_control(bd_state *b, bd_lines_t levels) {
    (void)b;
    PORTG = levels & DDRG; /* a 1 on an input would pull it up */
}

static inline void bd_control_drive(bd_state *b, bd_lines_t mask, bd_lines_t levels) {
    (void)b;
    DDRG &= mask;
    PORTG = levels & mask;
    DDRG = mask;
}

/* Of eight lines each: data, address, control. */
static volatile uint8_t *m2560_pin(uint8_t group, uint8_t line) {
    static const uint16_t pins[9] BD_ROM = {
        _SFR_MEM_ADDR(PINA), _SFR_MEM_ADDR(PINB), _SFR_MEM_ADDR(PINC), _SFR_MEM_ADDR(PIND),
        _SFR_MEM_ADDR(PINL), _SFR_MEM_ADDR(PINK), _SFR_MEM_ADDR(PINH), 0,
        _SFR_MEM_ADDR(PING),
    };
    return (volatile uint8_t *)BD_ROM16(&pins[group * 4 + line / 8]);
}

/* PIN, DDR and PORT of a port follow each other. */
static inline void bd_line(bd_state *b, uint8_t group, uint8_t line, uint8_t action) {
    volatile uint8_t *pin = m2560_pin(group, line);
    uint8_t bit = (uint8_t)(1 << (line & 7));
    (void)b;
    if (action < 2) pin[1] &= (uint8_t)~bit;
    if (action & 1) {
        pin[2] |= bit;
    } else {
        pin[2] &= (uint8_t)~bit;
    }
    if (action >= 2) pin[1] |= bit;
}

#include "m2560_lines.h"

static BD_HERE uint32_t bd_address_in(bd_state *b) {
    (void)b;
    return (uint32_t)PINL | (uint32_t)PINK << 8 | (uint32_t)PINH << 16;
}

static BD_HERE bd_lines_t bd_control_in(bd_state *b) {
    (void)b;
    return PING & 0x3F;
}

static inline bd_wait_t bd_wait_of(uint16_t ns) {
    return (bd_wait_t)(((uint32_t)ns * MHZ + 999) / 1000 + 2);
}

static inline uint16_t bd_wait_ns(bd_wait_t wait) {
    uint32_t ns = (uint32_t)(wait - 2) * 1000 / MHZ;
    return ns > 65535 ? 65535 : (uint16_t)ns;
}

/* Loops of three periods, where `passed` pass in any case. */
static inline uint8_t m2560_loops(bd_wait_t periods, uint8_t passed) {
    if (periods < (bd_wait_t)(passed + 4)) return 1;
    /* A third, or a little more: a product takes less than a division. */
    return (uint8_t)((uint16_t)((uint8_t)(periods - passed + 2) * 86u) >> 8);
}

/* In loops of four periods. */
static inline void m2560_wait(bd_wait_t wait) {
    _delay_loop_2((uint16_t)(wait - 1) >> 2);
}

/* Four pass in any case, and most waits are no longer: for them nothing is called. */
static BD_HERE void bd_wait(bd_state *b, bd_wait_t wait) {
    (void)b;
    if (wait > 4) m2560_wait(wait);
}

static BD_HERE void bd_rail(bd_state *b, bool on) {
    (void)b;
    if (on) {
        PORTE |= 1 << 5;
    } else {
        PORTE &= (uint8_t)~(1 << 5);
    }
}

/* 2560 mV times two over 1024 steps. */
static inline uint16_t bd_rail_mv(bd_state *b) {
    (void)b;
    return ADC * 5;
}

static BD_HERE bool bd_over_current(bd_state *b) {
    (void)b;
    return !(PINE & 1 << 7);
}

static BD_HERE bool bd_ready(bd_state *b) {
    (void)b;
    return PINE & 1 << 4;
}

static BD_HERE void bd_mark(bd_state *b, bool active) {
    (void)b;
    if (active) {
        PORTE |= 1 << 6;
    } else {
        PORTE &= (uint8_t)~(1 << 6);
    }
}

/* Counted in non-volatile memory. */
static BD_HERE uint32_t bd_boot_id(bd_state *b) {
    uint32_t id = eeprom_read_dword((const uint32_t *)0) + 1;
    (void)b;
    eeprom_update_dword((uint32_t *)0, id);
    return id;
}

#endif
