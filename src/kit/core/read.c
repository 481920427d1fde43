/* READ: words on their way while the next are read. */
#include "burst.h"

#define HEAD 15u /* bytes of a reply before the words */
/* Words between two looks at everything else, and bytes: each is short against all that waits. */
#define SLICE 128
#define BYTES 96
#define PIECE 128 /* words that one head byte counts at most */
#define LONGEST 129 /* of a run */
/* Where the words stand in `scratch`: behind a head byte, and so far on that there is something before
 * the first with which it can be compared, though it means nothing. */
#define WORDS 4

typedef struct {
    bw_words asked;
    uint16_t left; /* words still to be read */
    uint8_t width;
    uint8_t plain; /* words in `scratch` that wait to be sent as they are */
} reading;

BW_HOT uint8_t *word(bw_core *c, reading *r, uint8_t at) {
    return c->scratch + WORDS + (uint16_t)at * r->width;
}

static bool bytes_out(bw_core *c, const uint8_t *from, uint16_t count) {
    while (count) {
        /* What is left then is whole words, for a board that sends those at a time. */
        uint8_t some = count < BYTES ? (uint8_t)count : (uint8_t)(BYTES + (count & 3));
        if (!breathe_short(c)) return false;
        send_bytes(c, from, some);
        /* The line may have been waited for, and the rail looked at meanwhile. */
        if (c->work.cause != E_GOOD) return false;
        from += some;
        count -= some;
    }
    return true;
}

/* Reads on, to the place of this word; how many, as burst_read() says it. */
static uint16_t words_in(bw_core *c, reading *r, uint8_t at, uint8_t most, uint8_t mode) {
    uint8_t some = burst_some(&r->asked.burst, r->left < most ? (uint8_t)r->left : most);
    uint16_t made = burst_read(c, &r->asked.burst, word(c, r, at), some, mode);
    r->left -= (uint8_t)made;
    count_on(&c->work.done, (uint8_t)made);
    return made;
}

BW_HOT bool raw(bw_core *c, reading *r) {
    while (r->left) {
        uint16_t bytes = words_in(c, r, 0, SLICE, READ_ALL) * r->width;
        if (!bytes_out(c, word(c, r, 0), bytes)) return false;
    }
    return true;
}

/* The first `words` of those that wait go out as they are, and `behind` more move to the front. */
static bool plain_out(bw_core *c, reading *r, uint8_t words, uint8_t behind) {
    uint8_t *to = word(c, r, 0), *from = word(c, r, words);
    if (!words) return true;
    to[-1] = (uint8_t)(words - 1);
    if (!bytes_out(c, to - 1, (uint16_t)(from - to) + 1)) return false;
    r->plain -= words;
    for (behind *= r->width; behind; behind--) *to++ = *from++;
    return true;
}

/* The last two words that wait are equal: how often the word stands, and whether another was read
 * behind it. A run costs a head and a word, and the words after it another head: so two words of
 * eight bits stay as they are, or the reply would be longer than its bound. */
static BW_HERE bool run(bw_core *c, reading *r) {
    uint8_t length = 2, least = r->width == 1 ? 3 : 2, *from, *to;
    uint16_t other = 0;
    r->plain -= 2;
    for (;;) {
        while (r->left && length < LONGEST && !other) {
            if (!breathe_short(c)) return false;
            other = words_in(c, r, r->plain + 2, (uint8_t)(LONGEST - length), READ_WHILE_EQUAL);
            length += (uint8_t)other;
            other >>= 8;
            length -= (uint8_t)other;
        }
        if (length < least) break;
        if (!plain_out(c, r, r->plain, 3)) return false;
        from = word(c, r, 0) - 1;
        *from = (uint8_t)(0x80 + length - 2);
        send_bytes(c, from, r->width + 1);
        length = 0;
        if (other || !r->left) break;
    }
    /* What is too short for a run stays as it is, and so does the other word behind it. */
    from = word(c, r, (uint8_t)(r->plain + 2));
    r->plain += length;
    to = word(c, r, r->plain);
    if (other && from != to)
        for (uint8_t n = 0; n < r->width; n++) to[n] = from[n];
    r->plain += (uint8_t)other;
    return true;
}

BW_HOT bool coded(bw_core *c, reading *r) {
    while (r->left) {
        uint16_t made;
        if (!breathe_short(c)) return false;
        if (r->plain >= PIECE && !plain_out(c, r, PIECE, 1)) return false;
        made = words_in(c, r, r->plain, (uint8_t)(PIECE - r->plain), READ_TO_EQUAL);
        r->plain += (uint8_t)made;
        /* The first has nothing before it. */
        if (made & READ_ENDED && r->plain > 1 && !run(c, r)) return false;
    }
    if (r->plain > PIECE && !plain_out(c, r, PIECE, 1)) return false;
    return plain_out(c, r, r->plain, 0);
}

/* Bytes that begin a field: nonce, slot, address, step, count, precharge, encoding. */
#define STARTS 0x1A8D
#define PRECHARGE 11
#define ENCODING 12

uint8_t serve_read(bw_core *c) {
    uint8_t code, encoding;
    uint16_t size;
    reading r;
    code = burst_asked(c, &r.asked, HEAD - 2, STARTS, PRECHARGE);
    if (code) return code;
    encoding = r.asked.frame[ENCODING + 2];
    if (encoding > 1) return F_ENCODING;
    r.left = (uint16_t)r.asked.count;
    if (r.left > BD_TX_BODY) return F_TOO_LONG;
    r.width = r.asked.burst.shape->width;
    size = r.left * r.width;
    if (encoding) size += (r.left + 127u) / 128;
    if (size > BD_TX_BODY - HEAD) return F_TOO_LONG;
    r.plain = 0;
    burst_begin(c, &r.asked, PRECHARGE);
    send_reply(c, r.asked.frame, HEAD);
    /* Words read while the rail was falling must not go out as good. */
    if (!(encoding ? coded(c, &r) : raw(c, &r)) || !breathe(c)) {
        send_break(c);
        return work_fault(c);
    }
    send_end(c);
    return F_NONE;
}
