/* The run chain: each run once, in order, and never after a halt. */
#include <stddef.h>
#include <string.h>

#include "parts.h"

/* x to the power of 32: a byte before others, seen from behind it. */
#define CRC_TAG 0xEDB88320u

static const bw_field row[] BD_ROM = {
    {FIELD_32, offsetof(bw_place, session)},
    {FIELD_16, offsetof(bw_place, chain)},
    {FIELD_32, offsetof(bw_place, id)},
    {FIELD_32, offsetof(bw_place, after)},
};
#define NO_AFTER 3

void chain_place(bw_core *c, bw_place *place) {
    place->kind = c->work.fault.kind;
    place->request = chain_sum(c);
    take_row(c, place, ROW_OF(row));
}

/* Over all of a body but kind and tag: what tells one request from another. RUN ends with that very
 * checksum, so it is only looked at whether it is right, from the frame's own, which is right: they
 * differ in what comes before, kind and tag, and in what becomes of that on the way through so many
 * bytes. Most runs are of one length, so this is kept for one. Any other number if it is not right. */
uint32_t chain_sum(bw_core *c) {
    bw_run *r = BW_NEAR(&c->run);
    uint32_t given, state;
    uint16_t length = c->in.length;
    if (line_u8(c, 0) != K_RUN || length < 6) return line_sum(c, 2, length);
    if (r->sum_length != length) {
        state = crc_byte(crc_byte(CRC_START, K_RUN), 0) ^ CRC_START;
        r->sum_length = length;
        r->sum_all = crc_shift(state, (uint16_t)(length - 2));
        r->sum_tag = crc_shift(CRC_TAG, (uint16_t)(length - 2));
    }
    given = line_u32(c, (uint16_t)(length - 4));
    state = crc_product((uint32_t)line_u8(c, 1) << 24, r->sum_tag) ^ r->sum_all;
    state ^= crc_done(line_u32(c, length));
    return state == CRC_RESIDUE ? given : ~given;
}

static BW_HERE bool equal(const bw_place *a, const bw_place *b) {
    return memcmp(a, b, offsetof(bw_place, kind) + 1) == 0;
}

uint8_t chain_judge(bw_core *c, const bw_place *place) {
    if (place->session == c->session) {
        for (uint8_t n = 0; n < BD_RUNS; n++) {
            const bw_kept *k = BW_NEAR(&c->kept[n]);
            if (!equal(&k->place, place)) continue;
            chain_answer(c, k);
            return F_ANSWERED;
        }
        if (place->after == c->last_run && place->id > c->last_run &&
            (place->chain == (uint16_t)(c->chain + 1) ||
             (place->chain == c->chain && c->chain_open && place->id == c->last_run + 1)))
            return F_NONE;
    }
    return fault_of(c, F_NOT_NEXT, c->last_run);
}

bw_kept *chain_begin(bw_core *c, const bw_place *place) {
    bw_core *o = BW_NEAR(c);
    bw_kept *k = BW_NEAR(&c->kept[c->kept_next]);
    c->kept_next = (uint8_t)(c->kept_next + 1 == BD_RUNS ? 0 : c->kept_next + 1);
    k->place = *place;
    k->status = o->last_status = E_AT_WORK;
    k->emitted = k->listed = 0;
    k->mismatches = k->done = k->d = 0;
    o->chain = place->chain;
    o->last_run = place->id;
    o->chain_open = o->halted = 0;
    c->run.kept = k;
    return k;
}

void chain_end(bw_core *c, bw_kept *k, uint8_t status) {
    k->status = status;
    if (!k->place.kind) {
        /* The host that asked is gone; the next one finds the status in HELLO. */
        if (k->place.session == c->previous_session) c->previous_status = status;
        return;
    }
    c->last_status = status;
    c->chain_open = status == E_GOOD && !c->halted;
}

void chain_halt(bw_core *c) {
    c->halted = 1;
    c->chain_open = 0;
}

BW_HERE void chain_reset(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    for (uint8_t n = 0; n < BD_RUNS; n++) c->kept[n].place.kind = 0;
    o->chain = 0;
    o->last_run = 0;
    o->last_status = 0;
    o->halted = o->chain_open = 0;
}

bool chain_same_at_work(bw_core *c) {
    const bw_kept *k = c->run.kept;
    uint8_t kind = line_u8(c, 0);
    bw_place place;
    if (kind != c->work.fault.kind || (kind != K_RUN && kind != K_REPEAT)) return false;
    if (c->in.length < 16 || !k || k->status != E_AT_WORK) return false;
    place.kind = kind;
    place.session = line_u32(c, 2);
    place.chain = (uint16_t)line_u32(c, 6);
    place.id = line_u32(c, 8);
    if (place.id != k->place.id) return false;
    place.request = chain_sum(c);
    return equal(&k->place, &place);
}

#define KEPT(kind, field) {kind, offsetof(bw_kept, field)}

static const bw_field of_run[] BD_ROM = {
    KEPT(FIELD_32, place.request), KEPT(FIELD_8, status), KEPT(FIELD_16, at),
    KEPT(FIELD_8, lane[0]), KEPT(FIELD_8, lane[1]), KEPT(FIELD_8, lane[2]), KEPT(FIELD_8, lane[3]),
    KEPT(FIELD_32, a), KEPT(FIELD_32, d), KEPT(FIELD_32, elapsed), KEPT(FIELD_32, mismatches),
    KEPT(FIELD_8, listed),
};
static const bw_field of_repeat[] BD_ROM = {
    KEPT(FIELD_8, status), KEPT(FIELD_32, done), KEPT(FIELD_32, d),
};
static const bw_field of_hold[] BD_ROM = {
    KEPT(FIELD_32, place.after), KEPT(FIELD_8, shape), KEPT(FIELD_8, write),
    KEPT(FIELD_32, address), KEPT(FIELD_32, value), KEPT(FIELD_32, d),
};

void chain_answer(bw_core *c, const bw_kept *k) {
    reply_begin(c);
    send_row(c, k, row, NO_AFTER);
    if (k->place.kind == K_REPEAT) {
        send_row(c, k, ROW_OF(of_repeat));
    } else if (k->place.kind == K_HOLD) {
        send_row(c, k, ROW_OF(of_hold));
    } else {
        const uint8_t *at = k->pool + BD_POOL;
        send_row(c, k, ROW_OF(of_run));
        for (uint8_t n = 0; n < k->listed; n++) send_bytes(c, at -= 12, 12);
        for (uint16_t n = 0; n < k->emitted; n++) send_bytes(c, k->pool + 4u * n, 4);
    }
    send_end(c);
}
