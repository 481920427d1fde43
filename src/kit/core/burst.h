/* Many reads in a row: the core's own loops, or those that a board brings because the core's would
 * not keep up with the line. Both make the same cycles. */
#ifndef BW_BURST_H
#define BW_BURST_H

#include "cycle.h"

/* A board's own bursts see the first member; `own` says that they do what this one asks for. */
typedef struct {
#ifdef BD_BURSTS
    bd_burst bd;
    bool own;
#endif
    const bw_shape *shape;
    uint32_t address, step, charge;
    bool charged;
} bw_burst;

typedef struct {
    uint32_t crc, all, any;
} bw_sum;

enum { READ_ALL, READ_TO_EQUAL, READ_WHILE_EQUAL };

/* What READ and DIGEST ask for. */
typedef struct {
    uint32_t address, count;
    uint16_t nonce, few; /* READ's count */
    int16_t step;
    uint8_t slot, precharge, encoding;
} bw_words;

/* Takes fields and checks what both have in common; and then the burst begins. */
uint8_t burst_asked(bw_core *c, bw_words *w, const bw_field *row, uint8_t fields);
void burst_begin(bw_core *c, bw_burst *b, const bw_words *w);
/* Reads up to `count` words to `to`, lowest byte first. READ_TO_EQUAL ends after a word that equals
 * the one before it, READ_WHILE_EQUAL after one that does not; there the words before it are passed
 * over and only the last is kept. The first is compared with the word before `to`. `ended` says that
 * it ended so. Returns how many were read. */
uint8_t burst_read(bw_core *c, bw_burst *b, uint8_t *to, uint8_t count, uint8_t mode, bool *ended);
/* `count` words, one at least, into checksum, AND and OR; complete when it has ended. */
void burst_sum(bw_core *c, bw_burst *b, uint8_t count, bw_sum *sum);
void burst_summed(bw_burst *b, bw_sum *sum);

#endif
