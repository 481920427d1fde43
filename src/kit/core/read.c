/* READ: words on their way while the next are read. */
#include <stddef.h>

#include "burst.h"

#define HEAD 15u /* bytes of a reply before the words */
/* Words between two looks at everything else, and bytes: each is short against all that waits. */
#define SLICE 64
#define BYTES 128
#define PIECE 128 /* words that one head byte counts at most */
#define LONGEST 129 /* of a run */

typedef struct {
    bw_burst burst;
    uint16_t left; /* words still to be read */
    uint8_t width;
    uint8_t plain; /* words in `scratch` that wait to be sent as they are */
} reading;

static bool bytes_out(bw_core *c, const uint8_t *from, uint16_t count) {
    while (count) {
        uint8_t some = count < BYTES ? (uint8_t)count : BYTES;
        if (!breathe_short(c)) return false;
        send_bytes(c, from, some);
        from += some;
        count -= some;
    }
    return true;
}

/* Reads on, behind the words that wait. */
static uint8_t words_in(bw_core *c, reading *r, uint8_t most, uint8_t mode, bool *ended) {
    uint8_t some = most < SLICE ? most : SLICE, made;
    if (r->left < some) some = (uint8_t)r->left;
    made = burst_read(c, &r->burst, c->scratch + (uint16_t)r->plain * r->width, some, mode,
                      ended);
    r->left -= made;
    c->work.done += made;
    return made;
}

static BW_HERE bool raw(bw_core *c, reading *r) {
    bool ended;
    while (r->left) {
        uint16_t bytes = (uint16_t)words_in(c, r, SLICE, READ_ALL, &ended) * r->width;
        if (!bytes_out(c, c->scratch, bytes)) return false;
    }
    return true;
}

/* The first `words` of those that wait go out as they are; what is behind them moves to the front. */
static bool plain_out(bw_core *c, reading *r, uint8_t words) {
    uint8_t *at = c->scratch;
    uint16_t bytes = (uint16_t)words * r->width, all = (uint16_t)r->plain * r->width;
    if (!words) return true;
    send8(c, (uint8_t)(words - 1));
    if (!bytes_out(c, at, bytes)) return false;
    r->plain -= words;
    for (uint16_t n = bytes; n < all; n++) *at++ = c->scratch[n];
    return true;
}

/* The last two words that wait are equal: how often the word stands, and whether another was read
 * behind it. A run costs a head and a word, and the words after it another head: so two words of
 * eight bits stay as they are, or the reply would be longer than its bound. */
static BW_HERE bool run(bw_core *c, reading *r) {
    uint8_t length = 2, least = r->width == 1 ? 3 : 2;
    bool other = false;
    while (r->left && length < LONGEST && !other) {
        if (!breathe_short(c)) return false;
        length += words_in(c, r, (uint8_t)(LONGEST - length), READ_WHILE_EQUAL, &other);
        length -= other;
    }
    if (length >= least) {
        uint8_t *word;
        if (other) {
            /* It takes the place of the run's second word, to be moved to the front with the first. */
            word = c->scratch + (uint16_t)r->plain * r->width;
            for (uint8_t n = 0; n < r->width; n++) word[n - r->width] = word[n];
        } else {
            r->plain--;
        }
        if (!plain_out(c, r, (uint8_t)(r->plain - 1 - other))) return false;
        send8(c, (uint8_t)(0x80 + length - 2));
        send_bytes(c, c->scratch, r->width);
        r->plain = other;
        word = c->scratch + r->width;
        if (other)
            for (uint8_t n = 0; n < r->width; n++) word[n - r->width] = word[n];
    } else {
        r->plain += other;
    }
    return true;
}

static BW_HERE bool coded(bw_core *c, reading *r) {
    while (r->left) {
        bool equal;
        if (!breathe_short(c)) return false;
        if (r->plain >= PIECE && !plain_out(c, r, PIECE)) return false;
        r->plain += words_in(c, r, r->plain ? (uint8_t)(PIECE - r->plain) : 1,
                             r->plain ? READ_TO_EQUAL : READ_ALL, &equal);
        if (equal && !run(c, r)) return false;
    }
    if (r->plain > PIECE && !plain_out(c, r, PIECE)) return false;
    return plain_out(c, r, r->plain);
}

static const bw_field fields[] BD_ROM = {
    {FIELD_16, offsetof(bw_words, nonce)}, {FIELD_8, offsetof(bw_words, slot)},
    {FIELD_32, offsetof(bw_words, address)}, {FIELD_16, offsetof(bw_words, step)},
    {FIELD_16, offsetof(bw_words, few)}, {3, offsetof(bw_words, precharge)},
    {FIELD_8, offsetof(bw_words, encoding)},
};

uint8_t serve_read(bw_core *c) {
    bw_words w;
    reading r;
    uint32_t size;
    uint8_t code;
    w.count = 0;
    code = burst_asked(c, &w, ROW_OF(fields));
    if (code) return code;
    if (w.encoding > 1) return F_ENCODING;
    r.left = w.few;
    r.width = shape_at(c, w.slot)->width;
    r.plain = 0;
    size = (uint32_t)r.left * r.width + (w.encoding ? (r.left + 127u) / 128 : 0);
    if (size > BD_TX_BODY - HEAD) return F_TOO_LONG;
    burst_begin(c, &r.burst, &w);
    reply_echo(c, 13);
    /* Words read while the rail was falling must not go out as good. */
    if (!(w.encoding ? coded(c, &r) : raw(c, &r)) || !breathe(c)) {
        send_break(c);
        return work_fault(c);
    }
    send_end(c);
    return F_NONE;
}
