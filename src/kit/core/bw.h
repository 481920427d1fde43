/* The one context of an adapter, and the entry points of the core. */
#ifndef BW_H
#define BW_H

#include "board.h"
#include "kinds.h"

/* Numbers stand in memory with their low byte first, as in scripts and on the line. */
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
#define BW_LOW_FIRST
#endif

/* Levels of some control lines; those outside the mask are 0. */
typedef struct {
    bd_lines_t mask, level;
} bw_levels;

/* Levels of a shape: in idle, and what set-up and strobe change. */
enum { IDLE, READ_SETUP, READ_STROBE, WRITE_SETUP, WRITE_STROBE };

/* The send ring, by index: bytes to be sent from `tail` to `ready`; from `block` on the block of
 * COBS that is still open. A board that sends many bytes in a way of its own knows this layout. */
typedef struct bw_out {
    uint16_t head;
    volatile uint16_t tail;
    uint16_t block;
    volatile uint16_t ready;
    uint32_t crc;
    uint8_t code;
} bw_out;

/* Of a frame that comes in: its checksum so far, the code byte of COBS at work, and the bytes still to
 * come of it. A board's assembler knows this layout. */
typedef struct bw_coded {
    uint32_t crc;
    uint8_t block, left;
} bw_coded;

/* The receive ring by index, and the frame that comes in. The ring holds, from `tail`: waiting requests,
 * decoded; from `keep` on the frame being decoded, up to `put`; from `scan` on bytes as they came, up to
 * `head`. See line.c. */
typedef struct {
    volatile uint16_t head;
    uint16_t tail, keep, put, scan;
    uint16_t got; /* bytes of the frame so far */
    bw_coded rx;
    uint8_t bad;
    volatile uint8_t lost; /* bytes for which the ring had no room */
    /* The request that is looked at: where it stands in the ring, and its length. */
    uint16_t body, length;
} bw_in;

/* A shape as the host defined it, and what a cycle needs of it. */
typedef struct {
    uint8_t used; /* the slot holds a shape */
    uint8_t width, first, writes;
    bw_levels levels[5];
    uint16_t times[5]; /* as asked: set-up, pulse, hold, recover, release */
    bd_wait_t waits[5];
    /* Levels of all driven lines in each phase; made new when the held levels change. */
    bd_lines_t image[5];
    bd_lines_t drives_read, drives_write; /* lines driven beside those that are held */
} bw_shape;

/* A window of words, and single addresses under a mask. */
#define BW_VALUES 8
typedef struct {
    uint8_t used; /* see permit.c */
    uint8_t lines, count;
    uint32_t until; /* ticks */
    uint32_t start, words, lanes, mask, address[BW_VALUES];
} bw_permit;

/* Single lines, a bit each: four bytes of data lines, four of address, two of control. */
#define BW_LINE_BYTES 10
typedef struct {
    uint8_t driven[BW_LINE_BYTES], level[BW_LINE_BYTES], pulled[BW_LINE_BYTES];
} bw_drive;

/* What a script comes to for one N. */
typedef struct {
    uint32_t payload, emitted; /* words */
    uint32_t stop_ms;          /* from a request to stop to the end */
    uint8_t uses_n, sweeps;
    uint16_t at;    /* of a refusal: the byte */
    uint8_t refused; /* number in docs/script.md; 0: good */
} bw_need;

typedef struct {
    uint16_t length; /* 0: the slot is empty */
    uint32_t checksum;
    /* Good with the shapes of now, for this N; what it comes to. */
    uint8_t checked;
    uint32_t checked_for;
    bw_need need;
    uint8_t code[BD_SCRIPT_BYTES];
} bw_script;

/* Where a run stands in the chain. */
typedef struct {
    uint32_t session, id;
    uint32_t request; /* checksum of RUN's fields, or of the body of REPEAT and HOLD */
    uint16_t chain;
    uint8_t kind; /* so far: what tells one run from another */
    uint32_t after;
} bw_place;

/* A run that has begun: its reply is kept. */
typedef struct bw_kept {
    bw_place place; /* first: its fields are sent with the others */
    uint8_t status;      /* 255: at work */
    uint8_t lane[4];
    uint16_t at;
    uint32_t a, d, elapsed, mismatches, done;
    uint16_t emitted;
    uint8_t listed, listed_room;
    uint8_t shape, write; /* of HOLD */
    uint32_t address, value;
    uint8_t pool[BD_POOL]; /* emitted words from the start, mismatches behind the room for them */
} bw_kept;

/* A fault to be told. */
typedef struct {
    uint32_t id, detail;
    uint8_t kind, tag, code;
} bw_fault;

/* The request at work. */
typedef struct {
    bw_fault fault; /* which it is; and the fault that it ends in */
    uint8_t silent; /* nobody waits for its reply */
    uint8_t cause;  /* why it must end */
    uint8_t busy_now, is_long, replying;
    uint8_t off_due; /* the rail, when it has ended */
    uint8_t ending;  /* it is that of an earlier session */
    uint32_t done, whole, began, busy_at;
    uint32_t limit; /* ms */
} bw_work;

/* One script at work; see run.c. */
typedef struct bw_run bw_run;

#define BW_CONTROL_MASK ((uint16_t)((1ul << BD_CONTROL_LINES) - 1))

#include "run.h"

typedef struct bw_core {
    /* What HELLO and PING tell; all within 255 bytes from boot_id. */
    uint32_t boot_id, session, previous_session, previous_run;
    uint8_t previous_status;
    uint32_t good, damaged, overruns;
    uint8_t rail; /* as in PING */
    uint32_t rail_counter;
    uint8_t working;
    uint32_t last_run;
    uint8_t last_status;
    /* Up to rail_since: what else is looked at most, near the begin of the context for BW_NEAR. */
    uint16_t chain;
    uint8_t halted, chain_open;
    uint32_t last_good;
    uint8_t rate_trial;
    uint8_t in_frame;
    uint8_t owes;
    uint16_t at, bad_at; /* in the request that is looked at: the next field, what is wrong */
    uint8_t rail_fault;
    uint32_t rail_detail, rail_since;

    /* Rail and session. */
    uint16_t floor, lowest;
    uint32_t rate, rate_before, rate_since;

    bw_work work;
    uint8_t beat, rail_beat; /* when it was all looked at; when a run has looked at the rail */

    /* Answers that wait for the gap between two frames: `owes` says which. */
    uint8_t ping_tag, stop_tag, hello_tag;
    uint32_t hello_session, stop_within;
    bw_fault fault;

    bd_state bd;

    /* Receiving. See line.c. */
    bw_in in;
    uint8_t ring[BD_RING];

    /* Sending. See send.c. */
    bw_out out;
#ifndef BD_OUT_RING
    uint8_t out_ring[BD_OUT];
#endif
#ifndef BD_SENDS
    uint8_t dropping; /* of the frame that is being sent nothing goes out any more */
#endif

    uint8_t scratch[BD_SCRATCH]; /* 128 words of READ, rows of WALK, a script that is checked */

    /* Shapes, permits, scripts. */
    bw_shape shape[BD_SHAPES];
    bw_permit permit[BD_SHAPES];
    bw_script script[BD_SCRIPTS];
    bw_levels held;
    uint8_t bus_out;  /* the address lines are driven */
    uint8_t was_read; /* the last cycle read: the module may still be letting the lines go */
    bd_wait_t release; /* which takes so long by the slowest of the shapes */

    /* Held cycle and single lines. */
    uint8_t holding, lines_set;
    uint32_t lines_until;
    uint8_t hold_slot, hold_write;
    bw_drive drive;
    bw_levels moved; /* control lines that a script moved: reset, protect */

    /* Runs. */
    bw_kept kept[BD_RUNS];
    uint8_t kept_next;
    uint8_t run_permits_on, permit_seen;
    bw_run run;
} bw_core;

/* The controller has started: everything off, no session. The context is all zeros, but for `bd`. */
void bw_begin(bw_core *c);
/* A byte came in; safe in an interrupt. */
void bw_receive(bw_core *c, uint8_t byte);
/* Does what is to be done; call it again and again. False if there was nothing to do. */
bool bw_step(bw_core *c);
/* Ticks until something is due by itself; at most a second. */
uint32_t bw_idle_ticks(bw_core *c);

#endif
