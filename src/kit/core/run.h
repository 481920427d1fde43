/* A cycle script: what it is checked against, what it needs, and one at work. */
#ifndef BW_RUN_H
#define BW_RUN_H

typedef struct {
    uint16_t bytes;
    uint32_t emitted;
    uint32_t cycle_ns, op_ns;
    uint32_t atomic_cycle_ns, atomic_op_ns; /* of what stretch.c makes */
} bw_limits;

enum { RULE_NONE, RULE_WHOLE, RULE_REST, RULE_STROBES };
enum { LANE_NONE, LANE_DONE, LANE_DIFFERENT, LANE_FAILED, LANE_ABORTED, LANE_TIMED_OUT };
enum { STEP_MORE, STEP_SHORT, STEP_WAITS, STEP_DONE };

#ifdef BD_QUICK
/* A loop as a row of steps, which stands in the scratch memory; see quick.c. */
typedef struct {
    uint8_t there; /* 0: nothing there */
    uint8_t slot, shape, how;
    uint8_t body, tail; /* where a turn begins, and what follows the last; 0: nothing does */
    uint8_t whole;      /* the row begins with what stands before the loop */
    uint8_t lead;       /* that is still to be made */
    uint8_t polled; /* when bytes that came were last decoded without a row; a beat */
    uint16_t at, end;        /* operations of the script: the first of the loop, and its end */
    uint16_t words, stretch; /* of the payload in a turn; the operation that begins a critical stretch */
    uint32_t n;
    int16_t low, high, net; /* of A: where a turn writes, and how it moves */
    const uint8_t *rest; /* what the script sets before the loop; NULL: nothing */
} bw_row;
#endif

/* A wait at work, and how each lane fared in the last one. */
typedef struct {
    uint8_t lane[4];
    uint8_t how, open;
    uint32_t want, bits, fail, since, limit;
} bw_waiting;

/* What is looked at most stands first: that is near for a small controller. */
struct bw_run {
    /* Given. */
    const uint8_t *code;
    uint16_t length;
    uint8_t slot, pay_width;
    uint16_t pay_at; /* where the payload stands in the ring */
    struct bw_kept *kept;
    uint32_t a, b, n, mask;
    /* At work. */
    uint16_t at, cursor, end_at;
    uint8_t shape, has_rest, depth, busy, atomic, tidying, critical, first, verdict, judged, ended;
    uint8_t asked;
#ifdef BD_QUICK
    uint8_t quick; /* the depth of the loop that the board makes, 0: none */
#endif
    uint32_t d;
    /* A sweep: addresses left, mismatches of it recorded. */
    uint32_t left;
    uint16_t recorded;
    uint32_t rest, began, seen, critical_end;
    bw_waiting wait;
    uint32_t wake; /* of a delay */
    uint16_t finally, writes; /* see run_look */
    uint8_t looked; /* the slot of whose script that is, from 1 on; 0: of none */
    uint16_t loop_at[4];
    uint32_t loop_left[4];
    /* Of chain_sum: what the checksums of frames of this length have in common. */
    uint16_t sum_length;
    uint32_t sum_all, sum_tag;
#ifdef BD_QUICK
    bw_row row;
#endif
#ifdef BD_BURSTS
    bd_sweep sweep;
    bool own; /* the board makes it */
#endif
};

#endif
