/* Frames out, a block of COBS at a time: a block leaves when its code byte is known, so a long reply
 * is on its way while its end is still being read from the bus. */
#include "parts.h"

#ifdef BD_OUT_RING
#define RING (BD_OUT_RING - BD_OUT_FIRST)
#else
#define RING c->out_ring
#define BD_OUT_FIRST 0
#endif

static BW_HERE uint16_t next(uint16_t at) {
    at++;
    return at == BD_OUT_FIRST + BD_OUT ? BD_OUT_FIRST : at;
}

#ifdef BD_SENDS
/* The board takes the bytes out of the ring by itself. */
void send_pump(bw_core *c) {
    if (c->out.tail != c->out.ready) bd_sends(&c->bd);
}
#else
void send_pump(bw_core *c) {
    while (c->out.tail != c->out.ready && bd_tx_free(&c->bd)) {
        uint8_t byte = RING[c->out.tail];
        c->out.tail = next(c->out.tail);
        bd_tx(&c->bd, byte);
    }
}
#endif

/* An index has more bytes than some controllers write in one step. */
static void ready(bw_core *c, uint16_t at) {
    bd_lock(&c->bd);
    c->out.ready = at;
    bd_unlock(&c->bd);
}

static BW_HERE uint16_t sent_to(bw_core *c) {
    uint16_t at;
    bd_lock(&c->bd);
    at = c->out.tail;
    bd_unlock(&c->bd);
    return at;
}

#ifdef BD_SENDS
/* Until a byte of the ring has left. */
static BW_HERE bool waits(bw_core *c) {
    bd_idle(&c->bd);
    return true;
}
#define dropped(c) false
#else
/* The same, on a line that may take nothing any more, if its host is gone: the rail and the dead-man are
 * looked at meanwhile. False: nobody is there, and all that has not left is dropped. */
static bool waits(bw_core *c) {
    bw_out *out = &c->out;
    bd_idle(&c->bd);
    send_pump(c);
    if (work_watch(c)) return true;
    out->head = out->block = sent_to(c);
    ready(c, out->head);
    c->dropping = 1;
    return false;
}
#define dropped(c) ((c)->dropping)
#endif

static void raw(bw_core *c, uint8_t byte) {
    bw_out *out = BW_NEAR(&c->out);
    uint16_t after = next(out->head);
    if (dropped(c)) return;
#ifndef BD_SENDS
    send_pump(c);
#endif
    while (after == sent_to(c))
        if (!waits(c)) return;
    RING[out->head] = byte;
    out->head = after;
}

static BW_HERE void block_open(bw_core *c) {
    bw_out *out = BW_NEAR(&c->out);
    out->block = out->head;
    ready(c, out->head);
    out->code = 1;
    raw(c, 0);
}

#ifndef BD_BULK
static void put(bw_core *c, uint8_t byte) {
    if (c->out.code == 0xFF) {
        RING[c->out.block] = 0xFF;
        block_open(c);
    }
    if (byte == 0) {
        RING[c->out.block] = c->out.code;
        block_open(c);
    } else {
        raw(c, byte);
        c->out.code++;
    }
}
#endif

void send_bytes(bw_core *c, const uint8_t *at, uint8_t count) {
#ifdef BD_BULK
    if (count) bd_bulk(&c->bd, &c->out, at, count);
#else
    for (; count; count--, at++) {
        c->out.crc = crc_byte(c->out.crc, *at);
        put(c, *at);
    }
#endif
}

void send8(bw_core *c, uint8_t value) {
    send_bytes(c, &value, 1);
}

static void low_bytes(bw_core *c, uint32_t value, uint8_t count) {
    uint8_t bytes[4];
    for (uint8_t n = 0; n < 4; n++, value >>= 8) bytes[n] = (uint8_t)value;
    send_bytes(c, bytes, count);
}

void send16(bw_core *c, uint16_t value) {
    low_bytes(c, value, 2);
}

void send32(bw_core *c, uint32_t value) {
    low_bytes(c, value, 4);
}

static void frame_open(bw_core *c, const uint8_t *at, uint8_t count) {
    bw_out *out = BW_NEAR(&c->out);
#ifndef BD_SENDS
    c->dropping = 0;
#endif
    /* The end of the frame before is the beginning of this one, unless the line may have idled. */
    if (out->tail == out->ready) raw(c, 0);
    c->in_frame = 1;
    out->crc = CRC_START;
    block_open(c);
    send_bytes(c, at, count);
}

void send_begin(bw_core *c, uint8_t kind, uint8_t tag) {
    uint8_t bytes[2] = {kind, tag};
    frame_open(c, bytes, 2);
}

void send_reply(bw_core *c, uint8_t *frame, uint8_t count) {
    c->work.replying = 1;
    frame[0] = c->work.fault.kind | K_REPLY;
    frame[1] = c->work.fault.tag;
    frame_open(c, frame, count);
}

static void close_frame(bw_core *c) {
    raw(c, 0);
    ready(c, c->out.head);
    c->in_frame = 0;
    send_pump(c);
}

void send_end(bw_core *c) {
    bw_out *out = BW_NEAR(&c->out);
    send32(c, crc_done(out->crc));
    RING[out->block] = out->code;
    close_frame(c);
}

BW_HERE void send_break(bw_core *c) {
    bw_out *out = BW_NEAR(&c->out);
    if (!c->in_frame) return;
    out->head = out->block;
    close_frame(c);
}

BW_HERE void send_forget(bw_core *c) {
    bw_out *out = BW_NEAR(&c->out);
    uint16_t at;
    if (c->in_frame) return;
    bd_lock(&c->bd);
    at = out->ready = out->tail;
    bd_unlock(&c->bd);
    /* What was sent last still stands in the ring. */
    if (RING[at == BD_OUT_FIRST ? BD_OUT_FIRST + BD_OUT - 1 : at - 1] != 0) {
        /* In the midst of a frame: up to its delimiter. */
        while (at != out->head) {
            uint8_t byte = RING[at];
            at = next(at);
            if (byte == 0) break;
        }
    }
    out->head = at;
    ready(c, at);
    send_pump(c);
}

BW_HERE void send_drain(bw_core *c) {
    bw_out *out = BW_NEAR(&c->out);
    while (out->tail != out->ready || !bd_tx_idle(&c->bd))
        if (!waits(c)) break;
}
