/* The run chain: each run once, in order, and never after a halt. */
#include "parts.h"

/* x to the power of 32: a byte before others, seen from behind it. */
#define CRC_TAG 0xEDB88320u

bool chain_place(bw_core *c, bw_place *place) {
    place->kind = c->kind;
    place->session = take32(c);
    place->chain = take16(c);
    place->id = take32(c);
    place->after = take32(c);
    return c->bad_at == 0;
}

/* Over all of a body but kind and tag: what tells one request from another. RUN ends with that very
 * checksum, so it is only looked at whether it is right, from the frame's own, which is right: they
 * differ in what comes before, kind and tag, and in what becomes of that on the way through so many
 * bytes. Most runs are of one length, so this is kept for one. Any other number if it is not right. */
uint32_t chain_sum(bw_core *c) {
    bw_run *r = &c->run;
    uint32_t given, state;
    uint16_t length = c->length;
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

static bool equal(const bw_kept *k, const bw_place *place, uint32_t request) {
    return k->place.kind == place->kind && k->place.session == place->session &&
           k->place.chain == place->chain && k->place.id == place->id && k->request == request;
}

uint8_t chain_judge(bw_core *c, const bw_place *place, uint32_t request, bw_kept **again) {
    bool same, fresh;
    *again = 0;
    if (place->session != c->session) return fault_of(c, F_NOT_NEXT, c->last_run);
    for (uint8_t n = 0; n < BD_RUNS; n++) {
        if (!equal(&c->kept[n], place, request)) continue;
        *again = &c->kept[n];
        return F_NONE;
    }
    same = place->chain == c->chain && c->chain_open && c->last_run != 0xFFFFFFFFu &&
           place->id == c->last_run + 1;
    fresh = place->chain == (uint16_t)(c->chain + 1) && place->id > c->last_run;
    if (place->after == c->last_run && (same || fresh)) return F_NONE;
    return fault_of(c, F_NOT_NEXT, c->last_run);
}

bw_kept *chain_begin(bw_core *c, const bw_place *place, uint32_t request) {
    bw_kept *k = &c->kept[c->kept_next];
    c->kept_next = (uint8_t)(c->kept_next + 1 == BD_RUNS ? 0 : c->kept_next + 1);
    k->place = *place;
    k->request = request;
    k->status = c->last_status = E_AT_WORK;
    k->emitted = k->listed = 0;
    k->mismatches = 0;
    c->chain = place->chain;
    c->last_run = place->id;
    c->chain_open = c->halted = 0;
    return k;
}

void chain_end(bw_core *c, bw_kept *k, uint8_t status) {
    k->status = status;
    if (k->place.session != c->session) {
        /* The host that asked is gone; the next one finds the status in HELLO. */
        if (k->place.session == c->previous_session) c->previous_status = status;
        k->place.kind = 0;
        return;
    }
    c->last_status = status;
    c->chain_open = status == E_GOOD && !c->halted;
}

void chain_halt(bw_core *c) {
    c->halted = 1;
    c->chain_open = 0;
}

void chain_reset(bw_core *c) {
    for (uint8_t n = 0; n < BD_RUNS; n++)
        if (c->kept[n].status != E_AT_WORK) c->kept[n].place.kind = 0;
    c->chain = 0;
    c->last_run = 0;
    c->last_status = 0;
    c->halted = c->chain_open = 0;
}

bool chain_same_at_work(bw_core *c) {
    const bw_kept *k = c->run.kept;
    uint8_t kind = line_u8(c, 0);
    bw_place place;
    if (kind != c->work_kind || (kind != K_RUN && kind != K_REPEAT) || c->length < 16) return false;
    if (!k || k->status != E_AT_WORK) return false;
    place.kind = kind;
    place.session = line_u32(c, 2);
    place.chain = (uint16_t)line_u32(c, 6);
    place.id = line_u32(c, 8);
    return place.id == k->place.id && equal(k, &place, chain_sum(c));
}

static uint8_t *put(uint8_t *to, uint32_t value, uint8_t bytes) {
    for (; bytes; bytes--, value >>= 8) *to++ = (uint8_t)value;
    return to;
}

static uint8_t *run_head(uint8_t *to, const bw_kept *k) {
    to = put(to, k->request, 4);
    *to++ = k->status;
    to = put(to, k->at, 2);
    for (uint8_t n = 0; n < 4; n++) *to++ = k->lane[n];
    to = put(to, k->a, 4);
    to = put(to, k->d, 4);
    to = put(to, k->elapsed, 4);
    to = put(to, k->mismatches, 4);
    *to++ = (uint8_t)k->listed;
    return to;
}

void chain_answer(bw_core *c, const bw_kept *k) {
    uint8_t head[40], *to = head;
    to = put(to, k->place.session, 4);
    to = put(to, k->place.chain, 2);
    to = put(to, k->place.id, 4);
    if (k->place.kind == K_RUN) {
        to = run_head(to, k);
    } else if (k->place.kind == K_REPEAT) {
        *to++ = k->status;
        to = put(to, k->done, 4);
        to = put(to, k->d, 4);
    } else {
        to = put(to, k->place.after, 4);
        *to++ = k->shape;
        *to++ = 1;
        to = put(to, k->address, 4);
        to = put(to, k->value, 4);
        to = put(to, k->d, 4);
    }
    reply_body(c, head, (uint8_t)(to - head));
    if (k->place.kind == K_RUN) {
        for (uint16_t n = 1; n <= k->listed; n++) send_bytes(c, k->pool + BD_POOL - 12u * n, 12);
        for (uint16_t n = 0; n < k->emitted; n++) send_bytes(c, k->pool + 4u * n, 4);
    }
    send_end(c);
}
