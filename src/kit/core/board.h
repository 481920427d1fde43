/* What a board must bring. The core names no controller; BW_BOARD is the board's header.
 *
 * The board header defines `bd_state` (its own memory, part of the one context), `bd_lines_t` (an
 * unsigned type with a bit for each control line), the sizes and facts below as macros, and the
 * functions below, best as `static inline`. boards/template.h has all of them, to be filled in; the
 * comments here are the contract, and checks.h looks at the macros.
 *
 * Sizes     BD_RING       bytes of the receive ring; BD_QUEUE + BD_SPARE at least
 *           BD_QUEUE      rx_queue_bytes of HELLO
 *           BD_RX_BODY    rx_body_max
 *           BD_TX_BODY    tx_body_max
 *           BD_OUT        bytes of the send ring, a block of COBS (255) and more. A board that keeps
 *                         the ring itself defines BD_OUT_RING, its array, and BD_OUT_FIRST, the
 *                         index of its first byte: `out` begins with four of these
 *           BD_SHAPES, BD_SCRIPTS, BD_SCRIPT_BYTES, BD_RUNS, BD_EMIT   as HELLO says
 *           BD_POOL       bytes for emitted words and mismatches of one run, 4 * BD_EMIT at least
 *           BD_ROWS       lines that one WALK may name, at least all that the board has
 *           BD_SCRATCH    bytes: 520 (130 words), BD_ROWS * 11 and BD_SCRIPT_BYTES at least
 *           BD_SPARE      of the receive ring, kept for what is answered at once: 40 or more
 * Facts     BD_FIRMWARE, BD_NAME, BD_DATA_LINES, BD_ADDRESS_LINES, BD_CONTROL_LINES,
 *           BD_CONTROL    { { flags, "name" }, ... }: flags as in HELLO
 *           BD_PATH, BD_RAIL_MV, BD_IO_MV, BD_IO_MEASURED, BD_INPUT_MV, BD_LIMIT_MA, BD_SUPPLY,
 *           BD_SENSED, BD_CLOCK, BD_RESET_RATE, BD_RATES { rate, ... }, BD_RATE_COUNT,
 *           BD_SETUP_NS, BD_PULSE_NS, BD_HOLD_NS, BD_RECOVER_NS, BD_RELEASE_NS
 *           BD_RESET_LINE, BD_PROTECT_LINE   control line and active level: { line, high };
 *                         line 255 where there is none
 *           BD_HAS_MARK   1 if there is a mark line
 *           BD_OP_NS      longest time of one script operation
 *           BD_CYCLE_NS   what a cycle takes beside the times of its shape, at most
 *           BD_ATOMIC_OP_NS, BD_ATOMIC_CYCLE_NS   the same of the operations that stretch.c makes,
 *                         inside `atomic`, without the time of receive interrupts; 0: not promised
 * Time      BD_TICKS      ticks of bd_now in a microsecond, 1 to 3
 * Left out  BD_BURSTS, BD_QUICK   headers of a board that makes bursts of cycles, and loops of scripts, by
 *                         means of its own: see burst.h; quick.h and quick_ops.h
 *           BD_TAKE, BD_CRC, BD_BULK   the same for frames in, checksums, frames out
 */
#ifndef BW_BOARD_H
#define BW_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include BW_BOARD

#include "checks.h"

/* Where the call would cost more than what is called; and where time counts more than size. */
#if defined(__GNUC__) && !defined(__clang__)
#define BW_HOT static inline __attribute__((always_inline))
#define BW_FAST __attribute__((optimize("O2")))
#else
#define BW_HOT static inline
#define BW_FAST
#endif

/* A function that is shorter where it is called than its call would be: most are called once. What a
 * board defines here makes the compiler do that; where size does not matter it is left out. */
#ifdef BD_HERE
#define BW_HERE BD_HERE
#else
#define BW_HERE
#endif

/* A pointer into the context whose fields are to be addressed through it, though the compiler may know
 * where they are: shorter on some controllers. */
#ifdef BD_NEAR
#define BW_NEAR(p) BD_NEAR(p)
#else
#define BW_NEAR(p) (p)
#endif

/* Constants that an 8-bit controller keeps in program memory. */
#ifndef BD_ROM
#define BD_ROM
#define BD_ROM8(at) (*(at))
#define BD_ROM16(at) (*(at))
#define BD_ROM32(at) (*(at))
#endif

/* The clock, in ticks; wraps at 32 bits, and never goes back. */
static uint32_t bd_now(bd_state *b);
/* A byte of it that counts milliseconds, more or less; cheap, since it is asked after every few
 * cycles on the bus. */
static uint8_t bd_beat(bd_state *b);
/* Called in every wait: a board that polls its receiver hands the bytes to bw_receive here. */
static void bd_idle(bd_state *b);
/* Holds the receive interrupt off for a few instructions, and lets it on again. */
static void bd_lock(bd_state *b);
static void bd_unlock(bd_state *b);

/* All bytes have left with their stop bits. */
static bool bd_tx_idle(bd_state *b);
#ifdef BD_SENDS
/* The board takes the bytes of `out` out of the ring by itself, and is told when there are new ones. */
static void bd_sends(bd_state *b);
#else
/* The sender takes another byte; one byte goes out. */
static bool bd_tx_free(bd_state *b);
static void bd_tx(bd_state *b, uint8_t byte);
#endif
/* Changes the line rate, both ways, at once. */
static void bd_rate(bd_state *b, uint32_t rate);

/* Address lines: driven or inputs; the level of all. */
static void bd_address_drive(bd_state *b, bool on);
static void bd_address(bd_state *b, uint32_t address);
/* Data lines: the levels on them; drives those of `mask` to `levels`; lets all go without pull-ups.
 * Lines outside a mask, of control lines too, become inputs, and a level given to an input pulls
 * nothing up; bits beyond the board's lines mean nothing. */
static uint32_t bd_data_in(bd_state *b);
static void bd_data_drive(bd_state *b, uint32_t mask, uint32_t levels);
static void bd_data_free(bd_state *b);
/* Control lines: which are outputs, with what levels; the others are inputs. bd_control changes
 * levels only, of all in one step where the board can. */
static void bd_control_drive(bd_state *b, bd_lines_t mask, bd_lines_t levels);
static void bd_control(bd_state *b, bd_lines_t levels);
/* One line: group 0 data, 1 address, 2 control; 0 input, 1 pulled up, 2 low, 3 high. */
static void bd_line(bd_state *b, uint8_t group, uint8_t line, uint8_t action);
/* The levels of all address and control lines. */
static uint32_t bd_address_in(bd_state *b);
static bd_lines_t bd_control_in(bd_state *b);

/* A controller on which that takes longer than "Single lines" of docs/wire.md allows defines BD_TRY and
 * these two. A line is driven low or high; if it reads opposite it is as it was before again, within
 * two microseconds, and it is false. bd_look makes it as before in any case, within twenty, when it
 * has taken the levels of all lines: four bytes of data, four of address, two of control lines. */
#ifdef BD_TRY
static bool bd_try(bd_state *b, uint8_t group, uint8_t line, bool high);
static bool bd_look(bd_state *b, uint8_t group, uint8_t line, bool high, uint8_t *seen);
#endif

/* A wait of so many nanoseconds at least, made ready beforehand, since reckoning takes longer. */
static bd_wait_t bd_wait_of(uint16_t ns);
static uint16_t bd_wait_ns(bd_wait_t wait); /* what it really takes, at most 65535 */
static void bd_wait(bd_state *b, bd_wait_t wait);

/* The rail's switch and voltage; the current limit has acted; the module's ready line. */
static void bd_rail(bd_state *b, bool on);
static uint16_t bd_rail_mv(bd_state *b);
static bool bd_over_current(bd_state *b);
static bool bd_ready(bd_state *b);
/* A board with a write switch that it can read defines this: 1 while it is set to locked. */
#ifndef BD_WRITE_LOCKED
#define BD_WRITE_LOCKED(b) 0
#endif
static void bd_mark(bd_state *b, bool active);
/* New at each reset. */
static uint32_t bd_boot_id(bd_state *b);

#endif
