/* A new board. Copy this file to NAME.h and template_main.c to NAME_main.c, then go through it from the
 * top: each part begins with an #error, which goes when all below it is true for your board. The values
 * that stand here are safe to begin with; facts have none. docs/adapter.md, "Another microcontroller",
 * says in which order to bring it up; core/board.h is the contract. */
#ifndef BD_TEMPLATE_H /* NAME, too, or a second board cannot stand beside it */
#define BD_TEMPLATE_H

#include <stdbool.h>
#include <stdint.h>

#error "Part 1, memory: what the board keeps, and where constants are"

/* The board's own memory: the high half of the clock, say. It is part of the one context, and main
 * finds it as core.bd. */
typedef struct {
    volatile uint16_t turns;
} bd_state;

/* A wait made ready beforehand: loops of a delay, or ticks of a timer. */
typedef uint16_t bd_wait_t;

/* A bit for each control line; eight of them fit a byte. */
typedef uint8_t bd_lines_t;

/* Where constants are kept in program memory that needs its own instruction, define BD_ROM (an
 * attribute), BD_ROM8, BD_ROM16 and BD_ROM32 (reads); otherwise leave them out. On an AVR: PROGMEM,
 * pgm_read_byte, pgm_read_word and pgm_read_dword. To save flash on a small controller define BD_NEAR
 * and BD_HERE, too, as boards/m2560.h does. */

#error "Part 2, sizes: what the memory allows. These take about 7 KB of it; core/checks.h says what does not go together"

/* Bytes that wait to be served. More is faster, since the host asks ahead; 264 is enough for the line's
 * full rate. */
#define BD_QUEUE 900
#define BD_SPARE 48
#define BD_RING (BD_QUEUE + BD_SPARE + 8)
#define BD_RX_BODY 640  /* longest request: payload of a run */
#define BD_TX_BODY 1056 /* longest reply; it is not kept as a whole, so it costs no memory */
#define BD_OUT 600
#define BD_SHAPES 8 /* one for each space of a module, and for its parts */
#define BD_SCRIPTS 3
#define BD_SCRIPT_BYTES 384
#define BD_RUNS 3
#define BD_EMIT 32
#define BD_POOL 176
#define BD_ROWS 62 /* data, address and control lines together, or more */
#define BD_SCRATCH 682

#error "Part 3, lines: their number and names. A 1 in flags names a write strobe, a 2 a line that the board pulls down"

#define BD_FIRMWARE "kit 0.1"
#define BD_NAME "my board"
#define BD_DATA_LINES 8
#define BD_ADDRESS_LINES 16
#define BD_CONTROL_LINES 3
#define BD_CONTROL {{0, "OE"}, {1, "WE"}, {0, "CS0"}}
/* Control line and level of the module's reset and of its write protection; 255: none. */
#define BD_RESET_LINE {255, 0}
#define BD_PROTECT_LINE {255, 0}
#define BD_HAS_MARK 0

#error "Part 4, facts that guard the module: the host refuses what does not fit, but only if it is told the truth"

#define BD_PATH 0         /* 0 pins, 1 buffers that the board directs, 2 shifters that direct themselves */
#define BD_RAIL_MV 0      /* the rail that the switch closes */
#define BD_IO_MV 0        /* high level of driven lines: of pins, the controller's own supply */
#define BD_IO_MEASURED 0  /* 1: that was measured */
#define BD_INPUT_MV 0     /* the highest level that the lines take; datasheet */
#define BD_LIMIT_MA 0     /* current limit of the rail; 0: none */
#define BD_SUPPLY 0       /* 0 USB, 1 a supply of its own */
#define BD_SENSED 0       /* 1: bd_rail_mv measures */

#error "Part 5, times and rates"

#define BD_CLOCK 16000000ul /* Hz */
/* The rate after a reset must be within what the controller's datasheet recommends. Every rate that is
 * listed must lose nothing: a byte lasts 10 / rate, and the receive interrupt, with what may hold it
 * off, must be shorter. */
#define BD_RESET_RATE 115200ul
#define BD_RATES {115200ul}
#define BD_RATE_COUNT 1
/* The shortest waits that bd_wait makes. What stands between two waits only makes them longer. */
#define BD_SETUP_NS 250
#define BD_PULSE_NS 250
#define BD_HOLD_NS 250
#define BD_RECOVER_NS 250
#define BD_RELEASE_NS 250
/* The longest time of one script operation, and what a cycle takes beside the times of its shape: too
 * much costs nothing but time-outs, too little breaks promises. 60 us at 16 MHz were measured on an
 * 8-bit controller; take so much, in proportion to your clock, unless you measure. */
#define BD_OP_NS 60000ul
#define BD_CYCLE_NS 60000ul
/* The same of the operations that are made quickly inside `atomic` (core/stretch.c), receive interrupts
 * not counted. Page programming needs them: the host sends no page to a part that could take a pause for
 * the page's end, unless this board promises to be in time. Measure before you do. */
#define BD_ATOMIC_OP_NS 0
#define BD_ATOMIC_CYCLE_NS 0
#define BD_TICKS 2ul /* of bd_now in a microsecond */

#error "Part 6, the clock"

/* Must never go back, not by one tick: that reads as an hour of silence, and the rail goes off. Of a
 * timer of 16 bits and a count of its turns, read with interrupts off, add a turn whose interrupt waits
 * while the low half is small. */
static inline uint32_t bd_now(bd_state *b) {
    (void)b;
    return 0;
}
/* A change of it is about a millisecond; five bits or more of it must count. */
static inline uint8_t bd_beat(bd_state *b) {
    (void)b;
    return 0;
}

#error "Part 7, the line to the host"

/* With a receive interrupt, which calls bw_receive, this does nothing. */
static inline void bd_idle(bd_state *b) { (void)b; }
/* The interrupt that calls bw_receive, or all; never nested, and never called by an interrupt. */
static inline void bd_lock(bd_state *b) { (void)b; }
static inline void bd_unlock(bd_state *b) { (void)b; }
static inline bool bd_tx_free(bd_state *b) {
    (void)b;
    return false;
}
static inline void bd_tx(bd_state *b, uint8_t byte) {
    (void)b;
    (void)byte;
}
/* After the last stop bit, not when the last byte was taken: the rate changes then. Asked only after
 * something was sent. Where a flag tells, bd_tx takes it back after it has given the byte. */
static inline bool bd_tx_idle(bd_state *b) {
    (void)b;
    return false;
}
static inline void bd_rate(bd_state *b, uint32_t rate) {
    (void)b;
    (void)rate;
}

#error "Part 8, address and data lines"

/* Called before and after bd_address: it changes no level when it begins to drive, and leaves no
 * pull-ups when it ends. */
static inline void bd_address_drive(bd_state *b, bool on) {
    (void)b;
    (void)on;
}
/* Bits above the board's lines mean nothing, here and in masks and levels of data lines. */
static inline void bd_address(bd_state *b, uint32_t address) {
    (void)b;
    (void)address;
}
/* Lines that the board does not have read 0. */
static inline uint32_t bd_address_in(bd_state *b) {
    (void)b;
    return 0;
}
/* As they are now. Where the controller shows a pin some clocks late (two on an AVR), wait so long
 * here, or make bd_wait longer by that: else the word of a fast module is the one before. */
static inline uint32_t bd_data_in(bd_state *b) {
    (void)b;
    return 0;
}
/* Lines outside the mask become inputs. Levels first, then direction. */
static inline void bd_data_drive(bd_state *b, uint32_t mask, uint32_t levels) {
    (void)b;
    (void)mask;
    (void)levels;
}
/* Direction first, then no pull-ups: in the other order a line that was charged high is driven low for an
 * instant, and an empty socket reads as a module of zeros. */
static inline void bd_data_free(bd_state *b) { (void)b; }

#error "Part 9, control lines: the part that can write into a module by mistake"

/* Only lines that are driven now change: a level given to an input is a pull-up on many controllers,
 * and would feed a module without supply. All in one step; if they lie on several ports, strobes and
 * selects go inactive before others go active. */
static inline void bd_control(bd_state *b, bd_lines_t levels) {
    (void)b;
    (void)levels;
}
/* Lines that are no longer in the mask become inputs first, then the levels, then the new outputs: in
 * another order a strobe may be low for an instant. No pull-ups on the others. Other pins of the same
 * port, such as the rail's switch, stay as they are. */
static inline void bd_control_drive(bd_state *b, bd_lines_t mask, bd_lines_t levels) {
    (void)b;
    (void)mask;
    (void)levels;
}
static inline bd_lines_t bd_control_in(bd_state *b) {
    (void)b;
    return 0;
}

#error "Part 10, single lines. Controllers of 8 bits need BD_TRY, which core/board.h describes and boards/m2560_lines.h shows: without it two microseconds become five to ten at 16 MHz"

/* Group 0 data, 1 address, 2 control; line below the number of that group; action 0 input, 1 pulled up,
 * 2 low, 3 high. */
static inline void bd_line(bd_state *b, uint8_t group, uint8_t line, uint8_t action) {
    (void)b;
    (void)group;
    (void)line;
    (void)action;
}

#error "Part 11, waits"

/* So long at least, from 0 on; and how long that is. */
static inline bd_wait_t bd_wait_of(uint16_t ns) { return ns; }
static inline uint16_t bd_wait_ns(bd_wait_t wait) { return wait; }
static inline void bd_wait(bd_state *b, bd_wait_t wait) {
    (void)b;
    (void)wait;
}

#error "Part 12, the rail and what is left"

/* Off is what a resistor on the board does, too, while nobody drives the pin. */
static inline void bd_rail(bd_state *b, bool on) {
    (void)b;
    (void)on;
}
/* The last value of a converter that runs by itself, no older than a millisecond: it must not wait. The
 * divider must leave room above the rail. 0 where BD_SENSED is. */
static inline uint16_t bd_rail_mv(bd_state *b) {
    (void)b;
    return 0;
}
/* false where there is no such line. */
static inline bool bd_over_current(bd_state *b) {
    (void)b;
    return false;
}
/* true where there is no such line. */
static inline bool bd_ready(bd_state *b) {
    (void)b;
    return true;
}
/* With a write switch that can be read: #define BD_WRITE_LOCKED(b) 1 while it is set to locked. */
static inline void bd_mark(bd_state *b, bool active) {
    (void)b;
    (void)active;
}
/* Another number after each reset, or the host does not see that one came: a counter in non-volatile
 * memory. */
static inline uint32_t bd_boot_id(bd_state *b) {
    (void)b;
    return 0;
}

#endif
