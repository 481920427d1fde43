/* A new board: copy this file, replace every value, and build with -DBW_BOARD set to the copy. What
 * each name is for stands in core/board.h; boards/m2560.h is a whole example. */
#ifndef BD_TEMPLATE_H
#define BD_TEMPLATE_H

#error "boards/template.h is to be copied and filled in"

#include <stdbool.h>
#include <stdint.h>

/* The board's own memory: the high half of the clock, say. It is part of the one context. */
typedef struct {
    volatile uint16_t turns;
} bd_state;

/* A wait made ready beforehand: loops of a delay, or ticks of a timer. */
typedef uint16_t bd_wait_t;

/* A bit for each control line; eight of them fit a byte. */
typedef uint8_t bd_lines_t;

/* Where constants are kept in program memory that needs its own instruction, define BD_ROM (an
 * attribute), BD_ROM8, BD_ROM16 and BD_ROM32 (reads); otherwise leave them out. */

/* For a small controller define BD_NEAR and BD_HERE, as boards/m2560.h does. */

/* Sizes: as large as memory allows. For the full line rate BD_TX_BODY is at least 1056 and BD_QUEUE
 * at least 264. BD_RING is BD_QUEUE, BD_SPARE and some. */
/* Facts: HELLO says them to the host, which refuses what does not fit. They must be true. */
/* Times: what a cycle takes at the least, and what the checker reckons with. BD_OP_NS and
 * BD_CYCLE_NS must not be too small, or a script may last longer than promised. */
/* Functions: `static inline`, with a bd_state pointer first. They must not wait, but for bd_wait.
 * bd_control changes all lines in one step where the port can: a write strobe must never pass
 * through its active level on the way. bd_data_free and bd_address_drive(false) leave no pull-ups. */

#endif
