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

/* What READ and DIGEST ask for; the fields stand in `frame` behind two places for kind and tag, as
 * their reply begins with them. */
typedef struct {
    uint8_t frame[16];
    uint32_t count;
    bw_burst burst;
} bw_words;

/* Takes the fields of a request, `bytes` in all, and checks what both have in common. `starts` has a bit
 * for each byte behind kind and tag that begins a field, `precharge` is the place of that one. */
uint8_t burst_asked(bw_core *c, bw_words *w, uint8_t bytes, uint16_t starts, uint8_t precharge);
void burst_begin(bw_core *c, bw_words *w, uint8_t precharge);
/* Words that may be read between two looks at the rail, `most` of them at most. */
uint8_t burst_some(const bw_burst *b, uint8_t most);
/* Reads up to `count` words to `to`, lowest byte first. READ_TO_EQUAL ends after a word that equals
 * the one before it, READ_WHILE_EQUAL after one that does not: the words before it are passed
 * over, and it stands at `to`. The first is compared with the word before `to`. Returns
 * how many were read, and READ_ENDED with it if it ended so. */
#define READ_ENDED 0x100
uint16_t burst_read(bw_core *c, bw_burst *b, uint8_t *to, uint8_t count, uint8_t mode);
/* `count` words, one at least, into checksum, AND and OR; complete when it has ended. */
void burst_sum(bw_core *c, bw_burst *b, uint8_t count, bw_sum *sum);
void burst_summed(bw_burst *b, bw_sum *sum);

#endif
