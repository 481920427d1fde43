/* Frames in. Everything happens in one ring, in place:
 *
 *   tail            keep              put       scan              head
 *   | waiting requests | frame begun ...|  (free)  | bytes as they came |
 *
 * A byte that came gives one decoded byte at most, so `put` never passes `scan`. A waiting request is
 * two bytes (length; in the five high bits the fault that it will get), its body, and the checksum of
 * its frame. */
#include "parts.h"

/* Of bytes taken singly between two looks at the clock: noise has hardly any others, and each takes longer
 * than it lasts at the faster rates. */
#define SINGLES 16
/* Of free bytes between what is decoded and what is not; the more, the more seldom bytes are moved. */
#define GAP 40

static uint16_t next(uint16_t at) {
    at++;
    return at == BD_RING ? 0 : at;
}

uint16_t line_index(uint16_t at, uint16_t on) {
    at = (uint16_t)(at + on);
    return at >= BD_RING ? (uint16_t)(at - BD_RING) : at;
}

static uint16_t apart(uint16_t from, uint16_t to) {
    return to >= from ? (uint16_t)(to - from) : (uint16_t)(to + BD_RING - from);
}

void bw_receive(bw_core *c, uint8_t byte) {
    uint16_t head = c->in.head, after = next(head);
    if (after == c->in.tail) {
        if (c->in.lost != 255) c->in.lost++;
        return;
    }
    c->ring[head] = byte;
    c->in.head = after;
}

static void frame_fresh(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    in->put = line_index(in->keep, 2);
    in->got = 0;
    in->rx.block = in->rx.left = in->bad = 0;
    in->rx.crc = CRC_START;
}

static void decoded(bw_core *c, uint8_t byte) {
    bw_in *in = BW_NEAR(&c->in);
    if (in->got == BD_RX_BODY + 4) {
        in->bad = 1;
        return;
    }
    c->ring[in->put] = byte;
    in->put = next(in->put);
    in->got++;
    in->rx.crc = crc_byte(in->rx.crc, byte);
    /* Kept free for what is answered at once: a short frame may still use it. */
    if (in->got > 12 && apart(in->tail, in->put) > BD_RING - BD_SPARE) in->bad = 2;
}

static BW_HERE void frame_ended(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    if (in->rx.block == 0) return; /* nothing between two delimiters */
    if (in->bad == 2) {
        count_on(&c->overruns, 1);
    } else if (in->bad || in->rx.left || in->got < 6 || in->rx.crc != CRC_RESIDUE) {
        count_on(&c->damaged, 1);
    } else {
        in->body = line_index(in->keep, 2);
        in->length = (uint16_t)(in->got - 4);
        answer_frame(c);
    }
    frame_fresh(c);
}

static BW_HERE void coded(bw_core *c, uint8_t byte) {
    bw_in *in = BW_NEAR(&c->in);
    if (byte == 0) {
        frame_ended(c);
        return;
    }
    if (in->rx.left == 0) {
        if (in->rx.block != 0 && in->rx.block != 0xFF && !in->bad) decoded(c, 0);
        in->rx.block = byte;
        in->rx.left = (uint8_t)(byte - 1);
        return;
    }
    in->rx.left--;
    if (!in->bad) decoded(c, byte);
}

static BW_HERE uint16_t least(uint16_t a, uint16_t b) {
    return a < b ? a : b;
}

/* Takes coded bytes from `from` on, `count` at most, up to a delimiter, and puts them decoded to `to`.
 * Returns how many were taken, and in the high byte how many have come of it. */
#ifndef BD_TAKE
static uint16_t take(const uint8_t *from, uint8_t *to, uint8_t count, bw_coded *rx) {
    uint8_t n = 0, made = 0;
    while (n < count && from[n]) {
        uint8_t byte = from[n++];
        if (rx->left) {
            rx->left--;
        } else {
            bool zero = rx->block != 0 && rx->block != 0xFF;
            rx->block = byte;
            rx->left = (uint8_t)(byte - 1);
            if (!zero) continue;
            byte = 0;
        }
        to[made++] = byte;
        rx->crc = crc_byte(rx->crc, byte);
    }
    return (uint16_t)(n | made << 8);
}
#else
#define take bd_take
#endif

/* Bytes that may be taken without a second look at ring and room; not how many have come. Two at the
 * end of the ring are left, so that who takes them may step over a byte. */
uint16_t line_straight(const bw_core *c) {
    const bw_in *in = BW_NEAR(&c->in);
    uint16_t used = apart(in->tail, in->put), last = in->scan > in->put ? in->scan : in->put, count;
    if (in->bad || used >= BD_RING - BD_SPARE || last >= BD_RING - 2) return 0;
    count = least(BD_RING - BD_SPARE - used, BD_RX_BODY + 4 - in->got);
    return least(count, BD_RING - 2 - last);
}

/* So many were taken, and have become so many. */
BW_HERE void line_taken(bw_core *c, uint8_t taken, uint8_t made) {
    bw_in *in = BW_NEAR(&c->in);
    in->scan = line_index(in->scan, taken);
    in->put = line_index(in->put, made);
    in->got = (uint16_t)(in->got + made);
}

/* The way of almost every byte. */
static BW_HERE void many(bw_core *c, uint16_t head) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t count = line_straight(c), done;
    if (head >= in->scan) count = least(count, (uint16_t)(head - in->scan));
    if (!count) return;
    done = take(c->ring + in->scan, c->ring + in->put, (uint8_t)least(count, 255), &in->rx);
    line_taken(c, (uint8_t)done, (uint8_t)(done >> 8));
}

static BW_HERE uint16_t head_of(bw_core *c) {
    uint16_t head;
    bd_lock(&c->bd);
    head = c->in.head;
    bd_unlock(&c->bd);
    return head;
}

/* What has come since moves to behind what is decoded, or a steady stream would fill the ring with
 * what is between them. The first code byte of a frame keeps its place, and the delimiter behind it:
 * they are the two bytes before the next waiting request. */
static BW_HERE void close_up(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t first = line_index(in->put, in->rx.block != 0), to = first, from = in->scan;
    uint16_t head = head_of(c);
    if (first == from || (from != head && apart(first, from) < GAP)) return;
    for (;;) {
        for (; from != head; from = next(from), to = next(to)) c->ring[to] = c->ring[from];
        bd_lock(&c->bd);
        head = in->head;
        if (from == head) break;
        bd_unlock(&c->bd);
    }
    in->scan = first;
    in->head = to;
    bd_unlock(&c->bd);
}

#ifdef BD_QUICK
/* Rows of steps decode what comes at less cost: while one is at work it is left to that, if it is not
 * too much, but not for long. */
static BW_HERE bool left_to_row(bw_core *c, uint16_t head) {
    uint8_t beat = bd_beat(&c->bd);
    if (c->run.quick && !c->run.busy && apart(c->in.scan, head) < 512 &&
        ((beat - c->run.row.polled) & 31) < 16)
        return true;
    c->run.row.polled = beat;
    return false;
}
#else
#define left_to_row(c, head) false
#endif

/* What has come until now; what comes meanwhile waits, or a steady stream would keep it here. */
void line_poll(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t head = head_of(c);
    bool left = left_to_row(c, head), enough = false;
    uint8_t single = 0;
    uint8_t lost;
    bd_lock(&c->bd);
    lost = in->lost;
    in->lost = 0;
    bd_unlock(&c->bd);
    count_on(&c->overruns, lost);
    while (in->scan != head && !enough) {
        uint8_t byte = c->ring[in->scan];
        if (byte && left && line_straight(c)) break;
        if (byte) many(c, head);
        if (in->scan == head) break;
        byte = c->ring[in->scan];
        in->scan = next(in->scan);
        /* With a reply on its way one request at a time, or its bytes would run out meanwhile. */
        enough = (byte == 0 && in->rx.block != 0 && c->in_frame) || ++single == SINGLES;
        coded(c, byte);
    }
    close_up(c);
}

uint8_t line_u8(const bw_core *c, uint16_t at) {
    return c->ring[line_index(c->in.body, at)];
}

uint32_t ring_u32(const bw_core *c, uint16_t at) {
    uint8_t bytes[4];
    const uint8_t *from = c->ring + at;
    if (at > BD_RING - 4) {
        for (uint8_t n = 0; n < 4; n++, at = next(at)) bytes[n] = c->ring[at];
        from = bytes;
    }
    return from[0] | (uint16_t)from[1] << 8 | (uint32_t)from[2] << 16 | (uint32_t)from[3] << 24;
}

uint32_t line_u32(const bw_core *c, uint16_t at) {
    return ring_u32(c, line_index(c->in.body, at));
}

/* The checksum of the body from `from` up to `to`. */
uint32_t line_sum(const bw_core *c, uint16_t from, uint16_t to) {
    uint16_t at = line_index(c->in.body, from), count = (uint16_t)(to - from);
    uint16_t first = least(count, (uint16_t)(BD_RING - at));
    uint32_t sum = crc_bytes(CRC_START, c->ring + at, first);
    return crc_done(crc_bytes(sum, c->ring, (uint16_t)(count - first)));
}

static uint16_t entry_end(const bw_core *c) {
    const bw_in *in = BW_NEAR(&c->in);
    return line_index(in->body, (uint16_t)(in->length + 4));
}

/* Keeps the frame that has just come as a waiting request. */
BW_HERE void line_enqueue(bw_core *c, uint8_t code) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t end = entry_end(c);
    if (apart(in->tail, end) > BD_RING - BD_SPARE) {
        count_on(&c->overruns, 1);
        return;
    }
    c->ring[in->keep] = (uint8_t)in->length;
    c->ring[next(in->keep)] = (uint8_t)(code << 3 | in->length >> 8);
    in->keep = end;
}

static void open_at(bw_core *c, uint16_t entry) {
    bw_in *in = BW_NEAR(&c->in);
    in->length = (uint16_t)(c->ring[entry] | (c->ring[next(entry)] & 7) << 8);
    in->body = line_index(entry, 2);
}

void line_open_entry(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    open_at(c, in->tail);
    c->at = 2;
    c->bad_at = 0;
}

BW_HERE uint8_t line_refusal(const bw_core *c) {
    return c->ring[next(c->in.tail)] >> 3;
}

BW_HERE void line_drop_entry(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t after;
    open_at(c, in->tail);
    after = entry_end(c);
    bd_lock(&c->bd);
    in->tail = after;
    bd_unlock(&c->bd);
}

BW_HERE void line_drop_waiting(bw_core *c) {
    bw_in *in = BW_NEAR(&c->in);
    /* Only between two frames, so nothing stands behind `keep`. */
    uint16_t keep = in->tail;
    if (c->working) {
        open_at(c, keep);
        keep = entry_end(c);
    }
    in->keep = keep;
    frame_fresh(c);
}

/* Of the requests that wait: those that `kinds` names (bit n: kind n; all bits: every one), or, with
 * `rail_on`, each RAIL on. */
static void refuse(bw_core *c, uint16_t kinds, bool rail_on, uint8_t code) {
    bw_in *in = BW_NEAR(&c->in);
    uint16_t entry = in->tail, body = in->body, length = in->length;
    bool first = c->working;
    while (entry != in->keep) {
        uint16_t high = next(entry);
        uint8_t kind;
        bool meant;
        open_at(c, entry);
        kind = line_u8(c, 0);
        meant = kind < 16 ? (kinds >> kind & 1) != 0 : kinds == 0xFFFF;
        if (rail_on && kind == K_RAIL && in->length > 2 && line_u8(c, 2) == 1) meant = true;
        if (!first && meant && c->ring[high] >> 3 == 0) c->ring[high] |= (uint8_t)(code << 3);
        first = false;
        entry = entry_end(c);
    }
    in->body = body;
    in->length = length;
}

void line_refuse_waiting(bw_core *c, uint16_t kinds, uint8_t code) {
    refuse(c, kinds, false, code);
}

BW_HERE void line_refuse_rail_on(bw_core *c, uint8_t code) {
    refuse(c, 0, true, code);
}

void take_bad(bw_core *c, uint16_t at) {
    bw_core *o = BW_NEAR(c);
    if (!o->bad_at) o->bad_at = at;
}

/* A field of so many bytes, and whatever is behind it; 0 if it is not there. */
static uint32_t taken(bw_core *c, uint8_t bytes) {
    bw_core *o = BW_NEAR(c);
    uint16_t at = o->at;
    if (o->bad_at) return 0;
    if (at + bytes > c->in.length) {
        o->bad_at = at;
        return 0;
    }
    o->at = at + bytes;
    return line_u32(c, at);
}

uint8_t take8(bw_core *c) {
    return (uint8_t)taken(c, 1);
}

uint16_t take16(bw_core *c) {
    return (uint16_t)taken(c, 2);
}

uint32_t take32(bw_core *c) {
    return taken(c, 4);
}

uint8_t take_below(bw_core *c, uint8_t limit) {
    uint16_t at = c->at;
    uint8_t value = take8(c);
    if (value >= limit) take_bad(c, at);
    return value;
}

bool take_flag(bw_core *c) {
    return take_below(c, 2);
}

bool take_end(bw_core *c) {
    bw_core *o = BW_NEAR(c);
    if (o->at != c->in.length) take_bad(c, o->at);
    return o->bad_at == 0;
}
