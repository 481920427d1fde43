/* A cycle script: what it is checked against, what it needs, and one at work. */
#ifndef BW_RUN_H
#define BW_RUN_H

typedef struct {
    uint16_t bytes;
    uint32_t emitted;
    uint32_t cycle_ns, op_ns;
} bw_limits;

enum { RULE_NONE, RULE_WHOLE, RULE_REST, RULE_STROBES };
enum { LANE_NONE, LANE_DONE, LANE_DIFFERENT, LANE_FAILED, LANE_ABORTED, LANE_TIMED_OUT };
enum { STEP_MORE, STEP_WAITS, STEP_DONE };

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
    uint16_t at, cursor, finally, end_at;
    uint8_t shape, has_rest, depth, busy, atomic, tidying, critical, first, verdict, judged, ended;
    uint8_t asked;
    uint32_t d;
    /* A sweep: addresses left, mismatches of it recorded. */
    uint32_t left;
    uint16_t recorded;
    uint32_t rest, began, seen, critical_end;
    uint8_t lane[4];
    uint32_t wake; /* of a delay */
    /* A wait. */
    uint8_t how, open;
    uint32_t want, bits, fail, since, limit;
    uint16_t loop_at[4];
    uint32_t loop_left[4];
#ifdef BD_BURSTS
    bd_sweep sweep;
    bool own; /* the board makes it */
#endif
};

#endif
