/* Rows of steps by assembler. Meanwhile the line is looked at there, without the receiver's interrupt,
 * and bytes that came are decoded while a chip is busy. */
#ifndef BD_M2560_QUICK_H
#define BD_M2560_QUICK_H

#include <string.h>

#include "../core/quick.h"

/* What m2560_quick.S works on; it knows this layout. */
typedef struct {
    bw_quick quick; /* 20 bytes */
    uint8_t levels[5]; /* of port G: idle, read set-up and strobe, write set-up and strobe */
    uint8_t settle, read_pulse, write_pulse;
    uint8_t ones[4]; /* of ports A to D */
    uint16_t room;
    uint8_t lost;
    const uint8_t *from; /* what is decoded, and where to */
    uint8_t *to;
    bw_coded rx;
    uint16_t may; /* bytes that may be decoded */
    uint8_t inner, polls, rest;
    const uint8_t *word; /* of a turn that begins with WORD: the step behind it */
} m2560_quick_state;
M2560_AT(m2560_quick_state, quick.d, 4);
M2560_AT(m2560_quick_state, quick.turns, 8);
M2560_AT(m2560_quick_state, quick.waits, 9);
M2560_AT(m2560_quick_state, quick.waited, 10);
M2560_AT(m2560_quick_state, quick.left, 11);
M2560_AT(m2560_quick_state, quick.lasted, 12);
M2560_AT(m2560_quick_state, quick.row, 14);
M2560_AT(m2560_quick_state, quick.payload, 16);
M2560_AT(m2560_quick_state, quick.body, 18);
M2560_AT(m2560_quick_state, levels, 20);
M2560_AT(m2560_quick_state, settle, 25);
M2560_AT(m2560_quick_state, read_pulse, 26);
M2560_AT(m2560_quick_state, write_pulse, 27);
M2560_AT(m2560_quick_state, ones, 28);
M2560_AT(m2560_quick_state, room, 32);
M2560_AT(m2560_quick_state, lost, 34);
M2560_AT(m2560_quick_state, from, 35);
M2560_AT(m2560_quick_state, to, 37);
M2560_AT(m2560_quick_state, rx, 39);
M2560_AT(m2560_quick_state, may, 45);
M2560_AT(m2560_quick_state, inner, 47);
M2560_AT(m2560_quick_state, polls, 48);
M2560_AT(m2560_quick_state, rest, 49);
M2560_AT(m2560_quick_state, word, 50);

extern m2560_quick_state m2560_quick;
extern const uint16_t m2560_quick_steps[];
void m2560_quick_run(void);
/* See m2560_bursts.h. */
void m2560_levels(bw_core *c, const bw_shape *s, uint8_t *to, uint8_t count);
bool m2560_within(const bw_shape *s, const uint8_t *longest);

/* The steps are known by where they begin. */
#define bd_quick_code(step) pgm_read_word(&m2560_quick_steps[step])

#define M2560_Q_HOLD 3
#define M2560_Q_RECOVER 3
#define M2560_Q_RELEASE 12

static BD_HERE bool bd_quick_fits(bw_core *c, const bw_shape *s) {
    m2560_quick_state *m = BW_NEAR(&m2560_quick);
    static const uint8_t longest[5] BD_ROM = {
        18, 18, M2560_Q_HOLD + 2, M2560_Q_RECOVER + 2, M2560_Q_RELEASE + 2,
    };
    const bd_wait_t *wait = s->waits;
    if (s->first || s->drives_read || s->drives_write || !m2560_within(s, longest)) return false;
    /* At the fastest rate a byte must not wait for a long cycle. */
    if (UBRR0 == 0 && (wait[SETUP] > 8 || wait[PULSE] > 8)) return false;
    m2560_levels(c, s, m->levels, 5);
    m->settle = m2560_loops(wait[SETUP] - 2, 3);
    m->read_pulse = m2560_loops(wait[PULSE], 2);
    m->write_pulse = m2560_loops(wait[PULSE] - 2, 2);
    memset(m->ones, 0, 4);
    memset(m->ones, 0xFF, s->width);
    return true;
}

static BD_HERE bw_quick *bd_quick_state(bw_core *c) {
    (void)c;
    return BW_NEAR(&m2560_quick.quick);
}

static inline void bd_quick_run(bw_core *c) {
    m2560_quick_state *m = BW_NEAR(&m2560_quick);
    uint8_t *to = c->ring + c->in.put;
    /* At the fastest rate the line is not looked at often enough if the sender interrupts. */
    while (UBRR0 == 0 && UCSR0B & 1 << UDRIE0) {}
    m->from = c->ring + c->in.scan;
    m->to = to;
    m->rx = c->in.rx;
    cli();
    m->room = c->in.tail - c->in.head;
    if (c->in.head >= c->in.tail) m->room += BD_RING;
    sei();
    /* What comes meanwhile is not more than what was free then, or it is not taken. */
    m->room = m->room < 8 ? 0 : m->room - 8;
    m->may = line_straight(c);
    if (m->may > m->room) m->may = m->room;
    m->lost = m->rest = 0;
    m->word = m->quick.body + 7;
    m2560_quick_run();
    /* A step of timer 0 is 128 ticks. */
    m->quick.lasted = (uint16_t)((uint16_t)(TCNT0 - m->quick.lasted) << 8) >> 1;
    if (m->lost) {
        cli();
        c->in.lost += m->lost;
        sei();
    }
    c->in.rx = m->rx;
    c->in.got += m->to - to;
    c->in.put = m->to - c->ring;
    c->in.scan = m->from - c->ring;
    c->was_read = 1; /* or not: then a wait more */
}

#endif
