/* Loops as rows of steps. A loop is translated when it begins, if it is one of those that programming
 * consists of; whatever is unlike that is left to the interpreter. So is a wait that takes long: it
 * goes on there, in the midst of the turn.
 *
 * A row does what the interpreter would do. That the board does not look at the line within a turn
 * nobody can see: only loops are translated whose cycles all stand in a critical or atomic stretch. */
#include <string.h>

#include "cycle.h"
#include "script.h"

#ifdef BD_QUICK

#include BD_QUICK

#define MOST_TURNS 0xFFFFu

/* Can the row be made for so many turns from `a` on? */
static bool fits(bw_core *c, uint32_t a, uint32_t turns) {
    const bw_row *row = BW_NEAR(&c->run.row);
    int32_t far = (int32_t)row->net * (int32_t)(turns - 1); /* from the first turn to the last */
    uint32_t low = a + (uint32_t)(int32_t)row->low, high = a + (uint32_t)(int32_t)row->high;
    if (turns > MOST_TURNS) return false;
    if (row->low > row->high) return true;
    if (far < 0) {
        low += (uint32_t)far;
    } else {
        high += (uint32_t)far;
    }
    return permit_window(c, row->shape, low, high);
}

static bool plain(bw_core *c, uint8_t shape) {
    const bw_run *r = BW_NEAR(&c->run);
    const bw_shape *s = shape_get(c, shape);
    return s && s->writes && s->width == r->pay_width && !(word_ones(s) & ~r->mask);
}

/* It is of this script and this N. */
static bool same(bw_core *c) {
    const bw_run *r = BW_NEAR(&c->run);
    const bw_row *row = BW_NEAR(&c->run.row);
    return row->there && row->slot == r->slot && row->n == r->n;
}

/* The loop that has just begun. The row of a run before is still there if nothing but runs has come
 * since, so shapes, permits and the script are what they were. */
void quick_begin(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    bw_row *row = BW_NEAR(&r->row);
    uint16_t at = r->loop_at[r->depth - 1];
    if (r->quick || !plain(c, r->shape)) return;
    if (!same(c) || row->shape != r->shape || row->at != at) {
        row->there = 0;
        row->shape = r->shape;
        if (!row_make(c, at)) return;
        row->there = 1;
        row->slot = r->slot;
        row->n = r->n;
    }
    if (fits(c, r->a, *run_turns(r))) r->quick = r->depth;
}

/* A run begins whose row is there, with all of its script: it goes on in the loop. */
BW_HERE void quick_whole(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    bw_row *row = BW_NEAR(&r->row);
    if (!same(c) || !row->whole || !plain(c, row->shape) || !fits(c, r->b, r->n)) return;
    r->shape = row->shape;
    if (row->rest) {
        r->rest = op_long(row->rest);
        r->has_rest = 1;
    }
    r->a = r->b;
    r->at = r->loop_at[0] = row->at;
    r->loop_left[0] = r->n;
    r->depth = r->quick = row->lead = 1;
    r->first = 0;
}

/* The wait in which a turn stands: the interpreter goes on with it. */
static BW_HERE uint8_t into_wait(bw_core *c, const bw_quick *q) {
    bw_run *r = BW_NEAR(&c->run);
    bw_waiting *w = BW_NEAR(&c->run.wait);
    uint32_t now = env_now(c);
    uint8_t why;
    r->at = (uint16_t)(q->row[0] | q->row[1] << 8);
    r->cursor = (uint16_t)(r->cursor - q->row[2]);
    why = wait_begin(c, r->code + r->at);
    w->since = now - q->lasted;
    for (uint8_t lane = 0, bit = 1; lane < 4; lane++, bit <<= 1) {
        if (!(w->open & bit) || !(q->left >> (lane << (w->how & 3)) & 1)) continue;
        w->open ^= bit;
        w->lane[lane] = LANE_DONE;
    }
    if (r->row.stretch) {
        r->critical = 1;
        r->critical_end = ms_ahead(c, op_long(r->code + r->row.stretch + 1));
    }
    return why;
}

/* How many turns have their words in a row in the ring; or, one, has them copied to one. */
static const uint8_t *words_of(bw_core *c, uint16_t at, uint16_t bytes, uint8_t *turns) {
    uint16_t straight = (uint16_t)(BD_RING - at);
    if (bytes > straight) {
        for (uint16_t n = 0; n < bytes; n++) c->scratch[QUICK_COPY + n] = c->ring[line_index(at, n)];
        *turns = 1;
        return c->scratch + QUICK_COPY;
    }
    while ((uint32_t)bytes * *turns > straight) *turns = (uint8_t)(straight / bytes);
    return c->ring + at;
}

/* Turns in a row; true if it ends in a wait. */
bool quick_turns(bw_core *c, uint8_t *why) {
    bw_run *r = BW_NEAR(&c->run);
    bw_row *row = BW_NEAR(&c->run.row);
    bw_quick *q = bd_quick_state(c);
    uint32_t *left = run_turns(r);
    uint8_t width = r->pay_width, turns = *left > 255 ? 255 : (uint8_t)*left;
    const uint8_t *payload =
        words_of(c, line_index(r->pay_at, (uint16_t)(r->cursor * width)),
                 (uint16_t)(row->words * width), &turns);
    q->a = r->a;
    q->d = r->d;
    q->turns = turns;
    q->row = q->body = c->scratch + row->body;
    if (row->lead) q->row = c->scratch;
    row->lead = 0;
    q->payload = payload;
    q->waits = q->waited = 0;
    bd_quick_run(c);
    if (c->in.scan == c->in.head) row->polled = bd_beat(&c->bd);
    turns = (uint8_t)(turns - q->turns);
    /* The board knows the address lines, and those of the word if it has read one. */
    r->a += (uint32_t)((int32_t)((q->a - r->a) << (32 - BD_ADDRESS_LINES)) >> (32 - BD_ADDRESS_LINES));
    r->d = q->d;
    if (q->waited | q->waits) r->d &= run_ones(c);
    r->cursor = (uint16_t)(r->cursor + ((uint16_t)(q->payload - payload) >> (width >> 1)));
    *left -= turns;
    if (q->waited) {
        memset(r->wait.lane, LANE_NONE, 4);
        memset(r->wait.lane, LANE_DONE, width >> (row->how & 3));
    }
    count_on(&c->work.done, turns);
    if (q->waits) {
        *why = into_wait(c, q);
        return true;
    }
    if (!*left) {
        r->at = (uint16_t)(row->end + 1);
        r->depth--;
        r->quick = 0;
        if (row->tail) {
            q->turns = 1;
            q->a = r->b;
            q->row = c->scratch + row->tail;
            bd_quick_run(c);
            r->at = r->length;
            r->tidying = 1;
        }
    }
    return false;
}

#endif
