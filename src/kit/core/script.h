/* The checker and interpreter, and what they need of the world around them. */
#ifndef BW_SCRIPT_H
#define BW_SCRIPT_H

#include "parts.h"

/* The world: env.c for an adapter, a made-up bus for the vectors. */
uint8_t env_width(bw_core *c, uint8_t slot); /* bytes of the slot's word; 0: not defined */
uint8_t env_rule(bw_core *c, uint8_t slot);  /* RULE_* */
bool env_writes(bw_core *c, uint8_t slot);   /* the shape has write phases */
bool env_may_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes);
uint32_t env_read(bw_core *c, uint8_t slot, uint32_t address);
uint32_t env_read_charged(bw_core *c, uint8_t slot, uint32_t address, uint32_t charge);
void env_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t value, uint32_t lanes);
uint8_t env_line(bw_core *c, uint8_t line, bool active); /* E_GOOD, E_NO_LINE, E_NOT_PERMITTED */
bool env_ready(bw_core *c);
bool env_powered(bw_core *c);
uint32_t env_now(bw_core *c);
void env_pass(bw_core *c, uint32_t ticks); /* lets time pass */
uint32_t env_payload(bw_core *c, uint16_t word);

/* ops.c: the operations as bytes. */
enum {
    OP_SHAPE, OP_LANES, OP_REST,
    OP_A_2, OP_A_4, OP_A_FROM_B, OP_A_FROM_PAYLOAD, OP_STEP,
    OP_WRITE_22, OP_WRITE_24, OP_WRITE_42, OP_WRITE_44, OP_WRITE_A_2, OP_WRITE_B_2, OP_WRITE_A_4,
    OP_WRITE_B_4, OP_WRITE_PAYLOAD, OP_WRITE_COUNT,
    OP_READ_2, OP_READ_4, OP_READ_A, OP_READ_B, OP_EMIT, OP_PREVIOUS, OP_NEXT,
    OP_WAIT, OP_WAIT_VALUE, OP_READY, OP_DELAY,
    OP_SKIP_IF_PAYLOAD, OP_SKIP_IF_D,
    OP_SWEEP,
    OP_LOOP_TIMES, OP_LOOP_N, OP_END_LOOP, OP_CRITICAL_BEGINS, OP_END_CRITICAL, OP_ATOMIC_BEGINS,
    OP_END_ATOMIC, OP_FINALLY,
    OP_SET_LINE, OP_CLEAR_LINE,
    OP_NONE
};
enum {
    OP_ON = 1, OP_BACK = 2, /* moves the cursor */
    OP_LOOKS = 4,           /* at the word at the cursor; a wait for ones does not */
    OP_STRAIGHT = 8,        /* may stand after `finally` */
    OP_CYCLE = 16           /* one */
};
/* Of a block's begin and end, or 0: which block, and OP_END. */
enum { OP_LOOP = 1, OP_CRITICAL, OP_ATOMIC, OP_END = 0x80 };
uint8_t op_which(uint8_t opcode);  /* OP_SHAPE... */
uint8_t op_bytes(uint8_t which);   /* its length */
uint8_t op_length(uint8_t opcode); /* 0: no such opcode */
uint8_t op_is(uint8_t opcode);     /* OP_...; of one that there is */
uint8_t op_block(uint8_t opcode);
int8_t op_moves(uint8_t is);       /* the cursor */
uint32_t op_get(const uint8_t *at, uint8_t bytes);
uint32_t op_long(const uint8_t *at); /* of four */
void op_put(uint8_t *to, uint32_t value); /* four bytes */

/* check.c, measure.c. `script` is checked for N = n. */
void script_check(bw_core *c, const bw_limits *l, const uint8_t *code, uint16_t length, uint32_t n,
                  bw_need *need);
void script_measure(const bw_limits *l, const uint8_t *code, uint16_t length, uint32_t n,
                    bw_need *need);

/* run.c: the run in c->run. */
void run_look(bw_core *c);
void run_begin(bw_core *c);
uint8_t run_step(bw_core *c); /* one unit of work; an atomic stretch counts as one */
void run_stop(bw_core *c, uint8_t why);
void run_lose_power(bw_core *c);
/* stretch.c: what it can of an atomic stretch, at one go; env.c: counts its cycles. */
void stretch_run(bw_core *c);
void env_counts(bw_core *c, uint16_t cycles);
/* wait.c, sweep.c: one poll or address; E_GOOD, or why the run ends. `more` is set if it goes on. */
uint8_t wait_begin(bw_core *c, const uint8_t *op);
uint8_t wait_poll(bw_core *c, bool *more);
void wait_give_up(bw_core *c);
uint8_t ready_poll(bw_core *c, bool *more);
uint8_t sweep_begin(bw_core *c, const uint8_t *op);
uint8_t sweep_address(bw_core *c, const uint8_t *op, bool *more);
/* quick.c: loops that the board makes faster. */
void quick_begin(bw_core *c);
void quick_whole(bw_core *c);
bool quick_turns(bw_core *c, uint8_t *why);
/* row.c: the row of the loop at `at`. */
bool row_make(bw_core *c, uint16_t at);
#define QUICK_COPY 232 /* of the scratch memory: where words are copied to that lie in two pieces */
/* The checks before a cycle, in order, and the cycle. */
uint8_t run_read(bw_core *c, uint32_t address); /* to D */
uint8_t run_write(bw_core *c, uint32_t address, uint32_t value);
uint32_t run_ones(bw_core *c);
uint32_t *run_turns(bw_run *r); /* of the innermost loop, that are left */
/* The operation behind the one at `at` and `count` more. */
uint16_t run_past(const bw_run *r, uint16_t at, uint8_t count);

#endif
