/* Frames out, a block of COBS at a time: a block leaves when its code byte is known, so a long reply
 * is on its way while its end is still being read from the bus. */
#include "parts.h"

static uint16_t next(uint16_t at) {
    at++;
    return at == BD_OUT ? 0 : at;
}

BW_FAST void send_pump(bw_core *c) {
    while (c->out_tail != c->out_ready && bd_tx_free(&c->bd)) {
        uint8_t byte = c->out[c->out_tail];
        c->out_tail = next(c->out_tail);
        c->last_sent = byte;
        bd_tx(&c->bd, byte);
    }
}

static void raw(bw_core *c, uint8_t byte) {
    uint16_t after = next(c->out_head);
    send_pump(c);
    while (after == c->out_tail) {
        bd_idle(&c->bd);
        send_pump(c);
    }
    c->out[c->out_head] = byte;
    c->out_head = after;
}

static void block_open(bw_core *c) {
    c->out_block = c->out_head;
    c->out_ready = c->out_head;
    c->out_code = 1;
    raw(c, 0);
}

static void put(bw_core *c, uint8_t byte) {
    if (c->out_code == 0xFF) {
        c->out[c->out_block] = 0xFF;
        block_open(c);
    }
    if (byte == 0) {
        c->out[c->out_block] = c->out_code;
        block_open(c);
    } else {
        raw(c, byte);
        c->out_code++;
    }
}

void send8(bw_core *c, uint8_t value) {
    c->tx_crc = crc_byte(c->tx_crc, value);
    put(c, value);
}

void send16(bw_core *c, uint16_t value) {
    send8(c, (uint8_t)value);
    send8(c, (uint8_t)(value >> 8));
}

void send32(bw_core *c, uint32_t value) {
    send16(c, (uint16_t)value);
    send16(c, (uint16_t)(value >> 16));
}

/* How many bytes fit from `head` on without a turn of the ring, and without reaching the tail. */
static uint16_t stretch(const bw_core *c) {
    uint16_t head = c->out_head, tail = c->out_tail;
    if (tail > head) return (uint16_t)(tail - head - 1);
    return (uint16_t)(BD_OUT - head - (tail == 0));
}

/* The way of almost every byte: as many at a time as need no second look at ring and block. */
BW_FAST void send_bytes(bw_core *c, const uint8_t *at, uint16_t count) {
    uint32_t sum = c->tx_crc;
    while (count) {
        uint16_t room = stretch(c);
        uint8_t *to = c->out + c->out_head, *from = to;
        uint8_t some = (uint8_t)(0xFF - c->out_code), byte = 1;
        if (some > room) some = (uint8_t)room;
        if (some > count) some = (uint8_t)count;
        for (; some; some--) {
            byte = *at;
            if (byte == 0) break;
            at++;
            sum = crc_byte(sum, byte);
            *to++ = byte;
            if (bd_tx_free(&c->bd)) send_pump(c);
        }
        count = (uint16_t)(count - (to - from));
        c->out_code = (uint8_t)(c->out_code + (to - from));
        c->out_head = (uint16_t)(to - c->out);
        if (c->out_head == BD_OUT) c->out_head = 0;
        if (count && (byte == 0 || to == from)) {
            /* A zero, a full block, or no room. */
            byte = *at++;
            sum = crc_byte(sum, byte);
            put(c, byte);
            count--;
        }
    }
    c->tx_crc = sum;
}

void send_begin(bw_core *c, uint8_t kind, uint8_t tag) {
    raw(c, 0);
    c->in_frame = 1;
    c->tx_crc = CRC_START;
    block_open(c);
    send8(c, kind);
    send8(c, tag);
}

static void close_frame(bw_core *c) {
    raw(c, 0);
    c->out_ready = c->out_head;
    c->in_frame = 0;
}

void send_end(bw_core *c) {
    uint32_t sum = crc_done(c->tx_crc);
    for (uint8_t n = 0; n < 4; n++, sum >>= 8) put(c, (uint8_t)sum);
    c->out[c->out_block] = c->out_code;
    close_frame(c);
}

void send_break(bw_core *c) {
    if (!c->in_frame) return;
    c->out_head = c->out_block;
    close_frame(c);
}

void send_forget(bw_core *c) {
    uint16_t at = c->out_tail;
    if (c->in_frame) return;
    if (c->last_sent != 0) {
        /* In the midst of a frame: up to its delimiter. */
        while (at != c->out_head) {
            uint8_t byte = c->out[at];
            at = next(at);
            if (byte == 0) break;
        }
    }
    c->out_head = c->out_ready = at;
}

void send_drain(bw_core *c) {
    while (c->out_tail != c->out_ready || !bd_tx_idle(&c->bd)) {
        bd_idle(&c->bd);
        send_pump(c);
    }
}
