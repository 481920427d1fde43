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
    uint16_t head = c->head, after = next(head);
    if (after == c->tail) {
        if (c->lost != 255) c->lost++;
        return;
    }
    c->ring[head] = byte;
    c->head = after;
}

static void frame_fresh(bw_core *c) {
    c->put = line_index(c->keep, 2);
    c->got = 0;
    c->rx.block = c->rx.left = c->bad = 0;
    c->rx.crc = CRC_START;
}

static void decoded(bw_core *c, uint8_t byte) {
    if (c->got == BD_RX_BODY + 4) {
        c->bad = 1;
        return;
    }
    c->ring[c->put] = byte;
    c->put = next(c->put);
    c->got++;
    c->rx.crc = crc_byte(c->rx.crc, byte);
    /* Kept free for what is answered at once: a short frame may still use it. */
    if (c->got > 12 && apart(c->tail, c->put) > BD_RING - BD_SPARE) c->bad = 2;
}

static BW_HERE void frame_ended(bw_core *c) {
    if (c->rx.block == 0) return; /* nothing between two delimiters */
    if (c->bad == 2) {
        c->overruns++;
    } else if (c->bad || c->rx.left || c->got < 6 || c->rx.crc != CRC_RESIDUE) {
        c->damaged++;
    } else {
        c->body = line_index(c->keep, 2);
        c->length = (uint16_t)(c->got - 4);
        answer_frame(c);
    }
    frame_fresh(c);
}

static BW_HERE void coded(bw_core *c, uint8_t byte) {
    if (byte == 0) {
        frame_ended(c);
        return;
    }
    if (c->rx.left == 0) {
        if (c->rx.block != 0 && c->rx.block != 0xFF && !c->bad) decoded(c, 0);
        c->rx.block = byte;
        c->rx.left = (uint8_t)(byte - 1);
        return;
    }
    c->rx.left--;
    if (!c->bad) decoded(c, byte);
}

static uint16_t least(uint16_t a, uint16_t b) {
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
    uint16_t used = apart(c->tail, c->put), last = c->scan > c->put ? c->scan : c->put, count;
    if (c->bad || used >= BD_RING - BD_SPARE || last >= BD_RING - 2) return 0;
    count = least(BD_RING - BD_SPARE - used, BD_RX_BODY + 4 - c->got);
    return least(count, BD_RING - 2 - last);
}

/* So many were taken, and have become so many. */
BW_HERE void line_taken(bw_core *c, uint8_t taken, uint8_t made) {
    c->scan = line_index(c->scan, taken);
    c->put = line_index(c->put, made);
    c->got = (uint16_t)(c->got + made);
}

/* The way of almost every byte. */
static BW_HERE void many(bw_core *c, uint16_t head) {
    uint16_t count = line_straight(c), done;
    if (head >= c->scan) count = least(count, (uint16_t)(head - c->scan));
    if (!count) return;
    done = take(c->ring + c->scan, c->ring + c->put, (uint8_t)least(count, 255), &c->rx);
    line_taken(c, (uint8_t)done, (uint8_t)(done >> 8));
}

static uint16_t head_of(bw_core *c) {
    uint16_t head;
    bd_lock(&c->bd);
    head = c->head;
    bd_unlock(&c->bd);
    return head;
}

/* What has come since moves to behind what is decoded, or a steady stream would fill the ring with
 * what is between them. The first code byte of a frame keeps its place, and the delimiter behind it:
 * they are the two bytes before the next waiting request. */
static void close_up(bw_core *c) {
    uint16_t first = line_index(c->put, c->rx.block != 0), to = first, from = c->scan;
    uint16_t head = head_of(c);
    if (first == from || (from != head && apart(first, from) < GAP)) return;
    for (;;) {
        for (; from != head; from = next(from), to = next(to)) c->ring[to] = c->ring[from];
        bd_lock(&c->bd);
        head = c->head;
        if (from == head) break;
        bd_unlock(&c->bd);
    }
    c->scan = first;
    c->head = to;
    bd_unlock(&c->bd);
}

#ifdef BD_QUICK
/* Rows of steps decode what comes at less cost: while one is at work it is left to that, if it is not
 * too much, but not for long. */
static bool left_to_row(bw_core *c, uint16_t head) {
    uint8_t beat = bd_beat(&c->bd);
    if (c->run.quick && !c->run.busy && apart(c->scan, head) < 512 &&
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
    uint16_t head = head_of(c);
    bool left = left_to_row(c, head), enough = false;
    uint8_t single = 0;
    uint8_t lost;
    bd_lock(&c->bd);
    lost = c->lost;
    c->lost = 0;
    bd_unlock(&c->bd);
    c->overruns += lost;
    while (c->scan != head && !enough) {
        uint8_t byte = c->ring[c->scan];
        if (byte && left && line_straight(c)) break;
        if (byte) many(c, head);
        if (c->scan == head) break;
        byte = c->ring[c->scan];
        c->scan = next(c->scan);
        /* With a reply on its way one request at a time, or its bytes would run out meanwhile. */
        enough = (byte == 0 && c->rx.block != 0 && c->in_frame) || ++single == SINGLES;
        coded(c, byte);
    }
    close_up(c);
}

uint8_t line_u8(const bw_core *c, uint16_t at) {
    return c->ring[line_index(c->body, at)];
}

uint32_t line_u32(const bw_core *c, uint16_t at) {
    const uint8_t *from = c->ring + line_index(c->body, at);
    uint32_t value = 0;
    if (from <= c->ring + BD_RING - 4)
        return from[0] | (uint16_t)from[1] << 8 | (uint32_t)from[2] << 16 | (uint32_t)from[3] << 24;
    for (uint8_t n = 4; n--;) value = value << 8 | line_u8(c, (uint16_t)(at + n));
    return value;
}

/* The checksum of the body from `from` up to `to`. */
uint32_t line_sum(const bw_core *c, uint16_t from, uint16_t to) {
    uint16_t at = line_index(c->body, from), count = (uint16_t)(to - from);
    uint16_t first = least(count, (uint16_t)(BD_RING - at));
    uint32_t sum = crc_bytes(CRC_START, c->ring + at, first);
    return crc_done(crc_bytes(sum, c->ring, (uint16_t)(count - first)));
}

static uint16_t entry_end(const bw_core *c) {
    return line_index(c->body, (uint16_t)(c->length + 4));
}

/* Keeps the frame that has just come as a waiting request. */
BW_HERE void line_enqueue(bw_core *c, uint8_t code) {
    uint16_t end = entry_end(c);
    if (apart(c->tail, end) > BD_RING - BD_SPARE) {
        c->overruns++;
        return;
    }
    c->ring[c->keep] = (uint8_t)c->length;
    c->ring[next(c->keep)] = (uint8_t)(code << 3 | c->length >> 8);
    c->keep = end;
}

static void open_at(bw_core *c, uint16_t entry) {
    c->length = (uint16_t)(c->ring[entry] | (c->ring[next(entry)] & 7) << 8);
    c->body = line_index(entry, 2);
}

void line_open_entry(bw_core *c) {
    open_at(c, c->tail);
    c->kind = line_u8(c, 0);
    c->tag = line_u8(c, 1);
    c->at = 2;
    c->bad_at = 0;
}

BW_HERE uint8_t line_refusal(const bw_core *c) {
    return c->ring[next(c->tail)] >> 3;
}

BW_HERE void line_drop_entry(bw_core *c) {
    uint16_t after;
    open_at(c, c->tail);
    after = entry_end(c);
    bd_lock(&c->bd);
    c->tail = after;
    bd_unlock(&c->bd);
}

void line_drop_waiting(bw_core *c) {
    /* Only between two frames, so nothing stands behind `keep`. */
    uint16_t keep = c->tail;
    if (c->working) {
        open_at(c, keep);
        keep = entry_end(c);
    }
    c->keep = keep;
    frame_fresh(c);
}

/* Of the requests that wait: those that `kinds` names (bit n: kind n; all bits: every one), or, with
 * `rail_on`, each RAIL on. */
static void refuse(bw_core *c, uint16_t kinds, bool rail_on, uint8_t code) {
    uint16_t entry = c->tail, body = c->body, length = c->length;
    bool first = c->working;
    while (entry != c->keep) {
        uint16_t high = next(entry);
        uint8_t kind;
        bool meant;
        open_at(c, entry);
        kind = line_u8(c, 0);
        meant = kind < 16 ? (kinds >> kind & 1) != 0 : kinds == 0xFFFF;
        if (rail_on && kind == K_RAIL && c->length > 2 && line_u8(c, 2) == 1) meant = true;
        if (!first && meant && c->ring[high] >> 3 == 0) c->ring[high] |= (uint8_t)(code << 3);
        first = false;
        entry = entry_end(c);
    }
    c->body = body;
    c->length = length;
}

void line_refuse_waiting(bw_core *c, uint16_t kinds, uint8_t code) {
    refuse(c, kinds, false, code);
}

BW_HERE void line_refuse_rail_on(bw_core *c, uint8_t code) {
    refuse(c, 0, true, code);
}

void take_bad(bw_core *c, uint16_t at) {
    if (!c->bad_at) c->bad_at = at;
}

static bool there(bw_core *c, uint8_t bytes) {
    if (c->bad_at) return false;
    if (c->at + bytes > c->length) {
        c->bad_at = c->at;
        return false;
    }
    return true;
}

uint8_t take8(bw_core *c) {
    return there(c, 1) ? line_u8(c, c->at++) : 0;
}

uint16_t take16(bw_core *c) {
    if (!there(c, 2)) return 0;
    c->at = (uint16_t)(c->at + 2);
    return (uint16_t)(line_u8(c, (uint16_t)(c->at - 2)) | line_u8(c, (uint16_t)(c->at - 1)) << 8);
}

uint32_t take32(bw_core *c) {
    if (!there(c, 4)) return 0;
    c->at = (uint16_t)(c->at + 4);
    return line_u32(c, (uint16_t)(c->at - 4));
}

uint8_t take_below(bw_core *c, uint8_t limit) {
    uint16_t at = c->at;
    uint8_t value = take8(c);
    if (value >= limit) take_bad(c, at);
    return value;
}

BW_HERE bool take_flag(bw_core *c) {
    return take_below(c, 2);
}

bool take_end(bw_core *c) {
    if (!c->bad_at && c->at != c->length) c->bad_at = c->at;
    return c->bad_at == 0;
}
