/* Lines of a group, and what they show where two of them, or one and ground or rail, are tied. */
#include "rig.h"

static const uint16_t port[GROUPS][4] = {
    {PIN_A, PIN_B, PIN_C, PIN_D}, {PIN_L, PIN_K, PIN_H, 0}, {PIN_G, 0, 0, 0}};

static uint32_t registers(const rig_module *m, unsigned group, unsigned more) {
    const uint8_t *d = m->avr->data;
    uint32_t all = 0;
    for (unsigned n = 0; n < 4 && port[group][n]; n++)
        all |= (uint32_t)d[port[group][n] + more] << 8 * n;
    return all;
}

uint32_t pins_driven(const rig_module *m, unsigned group) {
    return registers(m, group, 1);
}

uint32_t pins_port(const rig_module *m, unsigned group) {
    return registers(m, group, 2);
}

static void show(uint32_t level[GROUPS], unsigned group, unsigned line, bool high) {
    level[group] = (level[group] & ~((uint32_t)1 << line)) | (uint32_t)high << line;
}

/* Of two lines: what is driven stands against what is not; a control line against the others, low
 * against high; and what is pulled up or charged shows as high. */
static bool together(const rig_module *m, const rig_tie *t, bool one, bool other) {
    bool drives = pins_driven(m, t->group) >> t->line & 1;
    bool other_drives = pins_driven(m, t->other_group) >> t->other_line & 1;
    if (drives != other_drives) return drives ? one : other;
    if (!drives) return one || other;
    if (t->group == CONTROL && t->other_group != CONTROL) return one;
    if (t->other_group == CONTROL && t->group != CONTROL) return other;
    return one && other;
}

void pins_tied(const rig_module *m, uint32_t level[GROUPS]) {
    for (unsigned n = 0; n < m->ties; n++) {
        const rig_tie *t = &m->tie[n];
        bool high = false;
        if (t->to == TO_RAIL) high = m->powered;
        if (t->to == TO_LINE)
            high = together(m, t, level[t->group] >> t->line & 1,
                            level[t->other_group] >> t->other_line & 1);
        show(level, t->group, t->line, high);
        if (t->to == TO_LINE) show(level, t->other_group, t->other_line, high);
    }
}

static unsigned ones(uint32_t of) {
    unsigned n = 0;
    for (; of; of &= of - 1) n++;
    return n;
}

static void most(uint64_t *of, uint64_t value) {
    if (value > *of) *of = value;
}

/* A driven line of the tie that does not show what it is driven to. */
static bool fights(const rig_module *m, const rig_tie *t, const uint32_t level[GROUPS]) {
    uint32_t bit = (uint32_t)1 << t->line, other = (uint32_t)1 << t->other_line;
    if (pins_driven(m, t->group) & (pins_port(m, t->group) ^ level[t->group]) & bit) return true;
    return t->to == TO_LINE && pins_driven(m, t->other_group) &
                                   (pins_port(m, t->other_group) ^ level[t->other_group]) & other;
}

static void tied(rig_module *m, bool alone) {
    uint32_t level[GROUPS] = {m->charge[DATA], m->charge[ADDRESS], pins_port(m, CONTROL)};
    uint64_t now = m->avr->cycle;
    pins_tied(m, level);
    for (unsigned n = 0; n < m->ties; n++) {
        rig_tie *t = &m->tie[n];
        bool was = t->fights;
        t->fights = fights(m, t, level);
        if (t->fights && !was) t->since = now;
        if (was && !t->fights) most(alone ? &m->fought_alone : &m->fought, now - t->since);
    }
}

void pins_noted(rig_module *m) {
    uint64_t now = m->avr->cycle;
    rig_move move = {now, pins_driven(m, DATA), pins_driven(m, ADDRESS),
                     (uint8_t)pins_driven(m, CONTROL), 0, m->powered};
    const rig_move *last = &m->move[(m->moves + MOVES - 1) % MOVES];
    bool alone = ones(move.data) + ones(move.address) == 1;
    if (!m->keeps_moves) return;
    move.levels = (uint8_t)pins_port(m, CONTROL) & move.control;
    if (m->ties) tied(m, m->is_alone);
    if (alone && !m->is_alone) m->alone_at = now;
    if (m->is_alone && !alone) most(&m->alone, now - m->alone_at);
    m->is_alone = alone;
    if (m->moves && last->data == move.data && last->address == move.address &&
        last->control == move.control && last->levels == move.levels && last->rail == move.rail)
        return;
    m->move[m->moves++ % MOVES] = move;
}
