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

struct bw_run {
    /* Given. */
    const uint8_t *code;
    uint16_t length;
    uint8_t slot, pay_width;
    uint16_t pay_at; /* where the payload stands in the ring */
    uint32_t a, b, n, mask;
    struct bw_kept *kept;
    /* At work. */
    uint16_t at, cursor, finally, end_at;
    uint32_t rest, d, began, seen, critical_end;
    uint8_t shape, has_rest, depth, busy, atomic, tidying, critical, first, verdict, judged, ended;
    uint8_t asked;
    uint16_t loop_at[4];
    uint32_t loop_left[4];
    uint32_t wake; /* of a delay */
    /* A wait. */
    uint8_t how, open;
    uint32_t want, bits, fail, since, limit;
    /* A sweep: addresses left, mismatches of it recorded. */
    uint16_t recorded;
    uint32_t left;
    uint8_t lane[4];
#ifdef BD_QUICK
    /* The depth of the loop that the board makes, 0: none; see quick.c. */
    uint8_t quick, quick_how;
    uint16_t quick_words, quick_stretch, quick_end;
#endif
#ifdef BD_BURSTS
    bd_sweep sweep;
    bool own; /* the board makes it */
#endif
};

#endif
