/* Frames in. Everything happens in one ring, in place:
 *
 *   tail            keep              put       scan              head
 *   | waiting requests | frame begun ...|  (free)  | bytes as they came |
 *
 * A byte that came gives one decoded byte at most, so `put` never passes `scan`. Whenever all bytes
 * are looked at, `head` goes back to `put`: else what is between them would be lost as long as an
 * older request waits. A waiting request is two bytes (length; in the five high bits the fault that
 * it will get) and its body. */
#include "parts.h"

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
    c->block = c->left = c->bad = 0;
    c->rx_crc = CRC_START;
}

static void decoded(bw_core *c, uint8_t byte) {
    if (c->got == BD_RX_BODY + 4) {
        c->bad = 1;
        return;
    }
    c->ring[c->put] = byte;
    c->put = next(c->put);
    c->got++;
    c->rx_crc = crc_byte(c->rx_crc, byte);
    /* Kept free for what is answered at once: a short frame may still use it. */
    if (c->got > 12 && apart(c->tail, c->put) > BD_RING - BD_SPARE) c->bad = 2;
}

static BW_HERE void frame_ended(bw_core *c) {
    if (c->block == 0) return; /* nothing between two delimiters */
    if (c->bad == 2) {
        c->overruns++;
    } else if (c->bad || c->left || c->got < 6 || c->rx_crc != CRC_RESIDUE) {
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
    if (c->left == 0) {
        if (c->block != 0 && c->block != 0xFF && !c->bad) decoded(c, 0);
        c->block = byte;
        c->left = (uint8_t)(byte - 1);
        return;
    }
    c->left--;
    if (!c->bad) decoded(c, byte);
}

static uint16_t least(uint16_t a, uint16_t b) {
    return a < b ? a : b;
}

/* Takes bytes from `from` to `to` into the checksum, up to a zero; returns how many there were. */
#ifndef BD_TAKE
static uint8_t take(const uint8_t *from, uint8_t *to, uint8_t count, uint32_t *crc) {
    uint8_t n = 0;
    for (; n < count && from[n]; n++) {
        to[n] = from[n];
        *crc = crc_byte(*crc, from[n]);
    }
    return n;
}
#else
#define take bd_take
#endif

/* The way of almost every byte: as many at a time as need no second look at ring, block and room. */
static BW_HERE void many(bw_core *c, uint16_t head) {
    uint16_t used = apart(c->tail, c->put), count = c->left;
    uint8_t done;
    if (c->bad || used >= BD_RING - BD_SPARE || c->got >= BD_RX_BODY + 4) return;
    count = least(count, (head < c->scan ? BD_RING : head) - c->scan);
    count = least(count, BD_RING - c->put);
    count = least(count, BD_RING - BD_SPARE - used);
    count = least(count, BD_RX_BODY + 4 - c->got);
    if (!count) return;
    done = take(c->ring + c->scan, c->ring + c->put, (uint8_t)count, &c->rx_crc);
    c->left -= done;
    c->got += done;
    c->put = line_index(c->put, done);
    c->scan = line_index(c->scan, done);
}

void line_poll(bw_core *c) {
    for (;;) {
        uint16_t head;
        uint8_t lost;
        bd_lock(&c->bd);
        if (c->scan == c->head) c->scan = c->head = c->put;
        head = c->head;
        lost = c->lost;
        c->lost = 0;
        bd_unlock(&c->bd);
        c->overruns += lost;
        if (c->scan == head) return;
        while (c->scan != head) {
            uint8_t byte;
            many(c, head);
            if (c->scan == head) break;
            byte = c->ring[c->scan];
            c->scan = next(c->scan);
            coded(c, byte);
        }
    }
}

uint8_t line_u8(const bw_core *c, uint16_t at) {
    return c->ring[line_index(c->body, at)];
}

uint32_t line_u32(const bw_core *c, uint16_t at) {
    uint32_t value = 0;
    for (uint8_t n = 4; n--;) value = value << 8 | line_u8(c, (uint16_t)(at + n));
    return value;
}

/* Keeps the frame that has just come as a waiting request. */
BW_HERE void line_enqueue(bw_core *c, uint8_t code) {
    uint16_t end = line_index(c->body, c->length);
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
    after = line_index(c->body, c->length);
    bd_lock(&c->bd);
    c->tail = after;
    bd_unlock(&c->bd);
}

void line_drop_waiting(bw_core *c) {
    /* Only between two frames, so nothing stands behind `keep`. */
    uint16_t keep = c->tail;
    if (c->working) {
        open_at(c, keep);
        keep = line_index(c->body, c->length);
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
        entry = line_index(c->body, c->length);
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
