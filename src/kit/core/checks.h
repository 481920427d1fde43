/* What a board's header must define, and what does not go together: said where it is built, so that
 * nobody has to find out on the bench. Nothing but checks; board.h says what each name is for. */
#ifndef BW_CHECKS_H
#define BW_CHECKS_H

/* What is left out. Functions that are left out the compiler names by itself. */
#if !defined(BD_RING) || !defined(BD_QUEUE) || !defined(BD_SPARE) || !defined(BD_OUT)
#error "The board leaves out a ring: BD_RING, BD_QUEUE, BD_SPARE and BD_OUT must be defined."
#endif
#if !defined(BD_RX_BODY) || !defined(BD_TX_BODY)
#error "The board leaves out the longest bodies: BD_RX_BODY and BD_TX_BODY must be defined."
#endif
#if !defined(BD_SHAPES) || !defined(BD_SCRIPTS) || !defined(BD_SCRIPT_BYTES) || !defined(BD_RUNS)
#error "The board leaves out slots: BD_SHAPES, BD_SCRIPTS, BD_SCRIPT_BYTES and BD_RUNS must be defined."
#endif
#if !defined(BD_EMIT) || !defined(BD_POOL) || !defined(BD_ROWS) || !defined(BD_SCRATCH)
#error "The board leaves out memory of one job: BD_EMIT, BD_POOL, BD_ROWS and BD_SCRATCH must be defined."
#endif
#if !defined(BD_FIRMWARE) || !defined(BD_NAME)
#error "The board has no name: BD_FIRMWARE and BD_NAME must be defined, as texts of 32 bytes at most."
#endif
#if !defined(BD_DATA_LINES) || !defined(BD_ADDRESS_LINES)
#error "The board leaves out its lines: BD_DATA_LINES and BD_ADDRESS_LINES must be defined."
#endif
#if !defined(BD_CONTROL_LINES) || !defined(BD_CONTROL)
#error "The board leaves out its control lines: BD_CONTROL_LINES and BD_CONTROL must be defined."
#endif
#if !defined(BD_RESET_LINE) || !defined(BD_PROTECT_LINE) || !defined(BD_HAS_MARK)
#error "BD_RESET_LINE and BD_PROTECT_LINE ({ 255, 0 } where there is none) and BD_HAS_MARK must be defined."
#endif
#if !defined(BD_PATH) || !defined(BD_IO_MV) || !defined(BD_IO_MEASURED) || !defined(BD_INPUT_MV)
#error "The board leaves out a fact that guards the module: BD_PATH, BD_IO_MV, BD_IO_MEASURED and BD_INPUT_MV must be defined, and true."
#endif
#if !defined(BD_RAIL_MV) || !defined(BD_SENSED) || !defined(BD_LIMIT_MA) || !defined(BD_SUPPLY)
#error "The board leaves out a fact about its rail: BD_RAIL_MV, BD_SENSED, BD_LIMIT_MA and BD_SUPPLY must be defined, and true."
#endif
#if !defined(BD_CLOCK) || !defined(BD_TICKS)
#error "The board leaves out its clock: BD_CLOCK (Hz) and BD_TICKS (of bd_now in a microsecond) must be defined."
#endif
#if !defined(BD_RESET_RATE) || !defined(BD_RATES) || !defined(BD_RATE_COUNT)
#error "The board leaves out its line rates: BD_RESET_RATE, BD_RATES and BD_RATE_COUNT must be defined."
#endif
#if !defined(BD_SETUP_NS) || !defined(BD_PULSE_NS) || !defined(BD_HOLD_NS) || \
    !defined(BD_RECOVER_NS) || !defined(BD_RELEASE_NS)
#error "The board leaves out its shortest times: BD_SETUP_NS, BD_PULSE_NS, BD_HOLD_NS, BD_RECOVER_NS and BD_RELEASE_NS must be defined."
#endif
#if !defined(BD_OP_NS) || !defined(BD_CYCLE_NS)
#error "The board leaves out how long it works: BD_OP_NS and BD_CYCLE_NS must be defined."
#endif
#if !defined(BD_ATOMIC_OP_NS) || !defined(BD_ATOMIC_CYCLE_NS)
#error "BD_ATOMIC_OP_NS and BD_ATOMIC_CYCLE_NS must be defined: 0 where the board promises no such times."
#endif

/* What does not go together. */
#if BD_DATA_LINES < 8 || BD_DATA_LINES > 32 || BD_ADDRESS_LINES < 1 || BD_ADDRESS_LINES > 32
#error "BD_DATA_LINES must be 8 to 32, BD_ADDRESS_LINES 1 to 32."
#endif
#if BD_CONTROL_LINES < 1 || BD_CONTROL_LINES > 16
#error "BD_CONTROL_LINES must be 1 to 16."
#endif
#if BD_RAIL_MV < 1 || BD_IO_MV < 1 || BD_INPUT_MV < 1
#error "BD_RAIL_MV, BD_IO_MV and BD_INPUT_MV must be as the board is, in millivolts: the host keeps a module from harm by them."
#endif
#if BD_TICKS < 1 || (BD_TICKS > 3 && !defined(BD_SHORT_RUNS))
#error "BD_TICKS must be 1, 2 or 3: choose the timer's divider so that it is. With more the clock turns over before the longest run, of 600 s, may end."
#endif
#if BD_SPARE < 40
#error "BD_SPARE must be 40 at least: a PING, a HELLO and a STOP must find room."
#endif
#if BD_RING < BD_QUEUE + BD_SPARE || BD_RING > 32767
#error "BD_RING must hold BD_QUEUE and BD_SPARE, and be below 32768."
#endif
#if BD_RX_BODY > 2047 || BD_RX_BODY + 16 > BD_QUEUE
#error "BD_RX_BODY must be below 2048, and with its checksum and COBS fit BD_QUEUE: 16 bytes less than that."
#endif
#if BD_RX_BODY < BD_SCRIPT_BYTES + 3 || BD_RX_BODY < 64
#error "BD_RX_BODY must be 64 at least, and hold a script of BD_SCRIPT_BYTES behind three bytes."
#endif
#if BD_TX_BODY < 40 + 4 * BD_EMIT || BD_TX_BODY < 5 + 11 * BD_ROWS || BD_TX_BODY < 512
#error "BD_TX_BODY must be 512 at least, and hold BD_EMIT words behind 40 bytes, and BD_ROWS rows of 11 bytes."
#endif
#if BD_OUT < 260 || BD_OUT > 32767
#error "BD_OUT must hold a whole block of COBS, so be 260 at least, and be below 32768."
#endif
#if BD_SHAPES < 1 || BD_SHAPES > 16 || BD_SCRIPTS < 1 || BD_RUNS < 1
#error "BD_SHAPES must be 1 to 16, BD_SCRIPTS and BD_RUNS 1 at least."
#endif
#if BD_POOL < 4 * BD_EMIT
#error "BD_POOL must hold BD_EMIT words of four bytes."
#endif
#if BD_ROWS < BD_DATA_LINES + BD_ADDRESS_LINES + BD_CONTROL_LINES || BD_ROWS > 255
#error "BD_ROWS must be as many as the board has data, address and control lines together, and below 256."
#endif
#if BD_SCRATCH < 520 || BD_SCRATCH < 11 * BD_ROWS || BD_SCRATCH < BD_SCRIPT_BYTES
#error "BD_SCRATCH must be 520 bytes at least, and hold BD_ROWS rows of 11 bytes, and a script."
#endif

#endif
