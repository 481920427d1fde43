/* What is given to a board that makes rows of steps, and what it leaves. A board's assembler knows
 * this layout. */
#ifndef BW_QUICK_H
#define BW_QUICK_H

#include <stdint.h>

#include "quick_ops.h"

typedef struct {
    uint32_t a, d;
    uint8_t turns;  /* to be made; at the end those that are left */
    uint8_t waits;  /* it ended in a wait, in the turn after those that are done */
    uint8_t waited; /* a wait has come to its good end */
    uint8_t left;   /* of the wait in which it ended: bytes of the word that are in no test any more */
    uint16_t lasted; /* ticks from when that wait began; until the board is back, as it counts */
    const uint8_t *row;     /* where to begin; of that wait: what stands behind `left` */
    const uint8_t *payload; /* the next word */
    const uint8_t *body;    /* where a turn begins */
} bw_quick;

#endif
