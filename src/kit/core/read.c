/* READ: words on their way while the next are read. */
#include "cycle.h"

#define HEAD 15u /* bytes of a reply before the words */

typedef struct {
    bw_core *c;
    uint8_t width, count; /* words that stand as they are, in `scratch` */
    uint8_t *to;
    uint32_t run;       /* the word that may stand several times */
    uint8_t run_length; /* so often it came; 0: none */
} coder;

static void word_out(bw_core *c, uint32_t value, uint8_t width) {
    uint8_t bytes[4];
    bytes[0] = (uint8_t)value;
    bytes[1] = (uint8_t)(value >> 8);
    bytes[2] = (uint8_t)(value >> 16);
    bytes[3] = (uint8_t)(value >> 24);
    send_bytes(c, bytes, width);
}

static void plain_out(coder *e) {
    if (e->count == 0) return;
    send8(e->c, (uint8_t)(e->count - 1));
    send_bytes(e->c, e->c->scratch, (uint16_t)(e->to - e->c->scratch));
    e->to = e->c->scratch;
    e->count = 0;
}

BW_HOT void plain(coder *e) {
    uint8_t *to = e->to;
    uint32_t value = e->run;
    *to++ = (uint8_t)value;
    if (e->width > 1) *to++ = (uint8_t)(value >> 8);
    if (e->width > 2) {
        *to++ = (uint8_t)(value >> 16);
        *to++ = (uint8_t)(value >> 24);
    }
    e->to = to;
    if (++e->count == 128) plain_out(e);
}

static void run_out(coder *e) {
    /* A run costs a head and a word, and the words after it another head: below this it makes the
     * reply longer than the bound allows. */
    uint8_t least = e->width == 1 ? 3 : 2;
    if (e->run_length >= least) {
        plain_out(e);
        send8(e->c, (uint8_t)(0x80 + e->run_length - 2));
        word_out(e->c, e->run, e->width);
    } else {
        for (; e->run_length; e->run_length--) plain(e);
    }
}

BW_HOT void code(coder *e, uint32_t value) {
    if (e->run_length && value == e->run && e->run_length < 129) {
        e->run_length++;
        return;
    }
    if (e->run_length == 1) {
        plain(e);
    } else if (e->run_length) {
        run_out(e);
    }
    e->run = value;
    e->run_length = 1;
}

BW_FAST uint8_t serve_read(bw_core *c) {
    uint8_t echo[13], slot, precharge, encoding;
    uint32_t address, charge, size;
    int16_t step;
    uint16_t count;
    bw_shape *s;
    coder e;
    take16(c);
    slot = take8(c);
    address = take32(c);
    step = (int16_t)take16(c);
    count = take16(c);
    precharge = take_below(c, 3);
    encoding = take8(c);
    if (!take_end(c)) return F_MALFORMED;
    if (rail_refusal(c)) return rail_refusal(c);
    s = shape_get(c, slot);
    if (!s) return F_NO_SHAPE;
    if (span_check(c, address, step, count)) return F_BEYOND;
    if (encoding > 1) return F_ENCODING;
    size = (uint32_t)count * s->width + (encoding ? (count + 127u) / 128 : 0);
    if (size > BD_TX_BODY - HEAD) return F_TOO_LONG;
    for (uint8_t n = 0; n < 13; n++) echo[n] = line_u8(c, (uint16_t)(n + 2));
    work_whole(c, count);
    cycle_ready(c);
    charge = precharge == 2 ? word_ones(s) : 0;
    e.c = c;
    e.width = s->width;
    e.count = 0;
    e.to = c->scratch;
    e.run_length = 0;
    reply_body(c, echo, 13);
    for (; count; count--) {
        uint32_t value;
        if (!breathe_short(c)) {
            send_break(c);
            return work_fault(c);
        }
        if (precharge) cycle_charge(c, s, charge);
        value = cycle_read_here(c, s, address);
        address += (uint32_t)(int32_t)step;
        c->work_done++;
        if (encoding) {
            code(&e, value);
        } else {
            word_out(c, value, s->width);
        }
    }
    if (encoding) {
        if (e.run_length) run_out(&e);
        plain_out(&e);
    }
    /* Words read while the rail was falling must not go out as good. */
    if (!breathe(c)) {
        send_break(c);
        return work_fault(c);
    }
    send_end(c);
    return F_NONE;
}
