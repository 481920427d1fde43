/* The rig in the hands of a test: simulated time goes on only when it is told to, so that nothing
 * depends on how fast this computer is. A command is a line:
 *
 *   go CYCLES         time goes on
 *   hear CYCLES       the same, but no further than the end of a frame that the controller sends
 *   say HEX           bytes from the host, behind those that are on their way
 *   rate BAUD         the host's rate from here on, both ways; 0: that of the controller
 *   leaves CYCLES     a byte leaves the controller in so many cycles, whatever its rate; 0: at its rate
 *   jam               the receiver loses the next byte
 *   reset             as the reset pin does
 *   supply CYCLE MV   the rail has no more than this from a cycle on
 *   feed MV           with the switch open the rail does not fall below this
 *   limit 0|1         the current limit acts
 *   busy 0|1          the module's ready line
 *   tie LINE WHAT     a line (d0, a3, c1) and `ground`, `rail` or another line
 *   untie             all are taken apart
 *   ram WORD          what is in the RAM there
 *   moves             what the lines were at
 *   state             everything else
 *
 * and is answered with lines, of which the last begins with `now` and the cycle, or with `wrong`. */
#define _GNU_SOURCE
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "rig.h"

/* What the host has heard; where a frame has ended, with the cycle in which its last bit has left. */
static void heard(rig_line *l, FILE *out, unsigned count, uint64_t at) {
    if (!count) return;
    fprintf(out, "heard %" PRIu64 " ", at);
    for (unsigned n = 0; n < count; n++) fprintf(out, "%02X", l->heard[n]);
    fprintf(out, "\n");
    l->heard_count -= count;
    memmove(l->heard, l->heard + count, l->heard_count);
    l->frame = 0;
}

static bool turn(rig *r, uint64_t until, bool to_frame, FILE *out) {
    rig_line *l = &r->line;
    while (r->avr->cycle < until) {
        if (!rig_turn(r)) return false;
        if (!l->frame) continue;
        if (to_frame) until = l->frame_end;
        heard(l, out, l->frame, l->frame_end);
    }
    heard(l, out, l->heard_count, r->avr->cycle);
    return true;
}

static bool say(rig_line *l, const char *hex) {
    static uint8_t bytes[sizeof l->in];
    unsigned count = 0, byte;
    while (count < sizeof bytes && sscanf(hex + 2 * count, "%2x", &byte) == 1)
        bytes[count++] = (uint8_t)byte;
    return line_say(l, bytes, count);
}

static void reset(rig *r) {
    avr_t *avr = r->avr;
    avr_cycle_count_t now = avr->cycle;
    avr_reset(avr);
    memset(avr->data + 0x20, 0, avr->ioend + 1u - 0x20u);
    avr->data[R_SPL] = (uint8_t)avr->ramend;
    avr->data[R_SPH] = (uint8_t)(avr->ramend >> 8);
    avr->cycle = now; /* the reset sets it to 0 */
    line_reset(&r->line);
    module_reset(&r->module);
}

static bool line_named(const char *name, uint8_t *group, uint8_t *line) {
    static const char groups[] = "dac";
    const char *found = name[0] ? strchr(groups, name[0]) : 0;
    if (!found) return false;
    *group = (uint8_t)(found - groups);
    *line = (uint8_t)strtoul(name + 1, 0, 10);
    return *line < 32;
}

static bool tie(rig_module *m, const char *one, const char *other) {
    rig_tie t = {0};
    if (m->ties == TIES || !line_named(one, &t.group, &t.line)) return false;
    if (!strcmp(other, "ground")) t.to = TO_GROUND;
    else if (!strcmp(other, "rail")) t.to = TO_RAIL;
    else if (line_named(other, &t.other_group, &t.other_line)) t.to = TO_LINE;
    else return false;
    m->tie[m->ties++] = t;
    return true;
}

static void moves(const rig_module *m, FILE *out) {
    unsigned from = m->moves > MOVES ? m->moves - MOVES : 0;
    for (; from < m->moves; from++) {
        const rig_move *v = &m->move[from % MOVES];
        fprintf(out, "move %" PRIu64 " rail %d data %" PRIu32 " address %" PRIu32 " control %u levels %u\n",
                v->at, v->rail, v->data, v->address, v->control, v->levels);
    }
}

static void state(const rig *r, FILE *out) {
    const rig_module *m = &r->module;
    const rig_line *l = &r->line;
    fprintf(out, "rail %d since %" PRIu64 " mv %u\n", m->powered, m->rail_at,
            module_mv(m, r->avr->cycle));
    for (unsigned group = 0; group < GROUPS; group++) {
        uint32_t driven = pins_driven(m, group), high = pins_port(m, group);
        fprintf(out, "group %u driven %" PRIu32 " high %" PRIu32 " pulled %" PRIu32 "\n", group, driven,
                driven & high, high & ~driven);
    }
    fprintf(out, "mark %d\n", r->avr->data[PIN_E + 2] >> 6 & 1);
    fprintf(out, "strobes %" PRIu64 " reads %" PRIu64 " writes %" PRIu64 " violations %u\n", m->strobes,
            m->reads, m->ram_writes, module_violations(m));
    fprintf(out, "alone %" PRIu64 " fought-alone %" PRIu64 " fought %" PRIu64 "\n", m->alone,
            m->fought_alone, m->fought);
    fprintf(out, "sent %" PRIu64 " received %" PRIu64 " coming %u came-at %" PRIu64
            " rate-changed %" PRIu64 "\n", l->sent, l->received, l->in_count - l->in_at, l->came_at,
            l->rate_at);
}

/* False if it is none. */
static bool command(rig *r, char *text, FILE *out, bool *ended) {
    rig_module *m = &r->module;
    char *word[4] = {"", "", "", ""}, *rest = text;
    unsigned long long first, second;
    for (unsigned n = 0; n < 4 && rest; n++) word[n] = strsep(&rest, " \n");
    first = strtoull(word[1], 0, 10);
    second = strtoull(word[2], 0, 10);
    if (!strcmp(word[0], "go") || !strcmp(word[0], "hear")) {
        *ended = !turn(r, r->avr->cycle + first, word[0][0] == 'h', out);
    } else if (!strcmp(word[0], "say")) {
        return say(&r->line, word[1]);
    } else if (!strcmp(word[0], "rate")) {
        r->line.rate = (uint32_t)first;
    } else if (!strcmp(word[0], "leaves")) {
        r->line.leaves = (uint32_t)first;
    } else if (!strcmp(word[0], "jam")) {
        r->line.jammed = true;
    } else if (!strcmp(word[0], "reset")) {
        reset(r);
    } else if (!strcmp(word[0], "supply")) {
        m->supply_at = first;
        m->supply_mv = (uint16_t)second;
    } else if (!strcmp(word[0], "feed")) {
        m->feed_mv = (uint16_t)first;
    } else if (!strcmp(word[0], "limit")) {
        m->limited = first;
    } else if (!strcmp(word[0], "busy")) {
        m->busy = first;
    } else if (!strcmp(word[0], "tie")) {
        return tie(m, word[1], word[2]);
    } else if (!strcmp(word[0], "untie")) {
        m->ties = 0;
    } else if (!strcmp(word[0], "ram")) {
        if (first >= m->ram_words) return false;
        fprintf(out, "word %" PRIu32 "\n", m->ram[first]);
    } else if (!strcmp(word[0], "moves")) {
        moves(m, out);
    } else if (!strcmp(word[0], "state")) {
        state(r, out);
    } else {
        return false;
    }
    return true;
}

bool rig_steps(rig *r, FILE *out) {
    char *text = 0;
    size_t room = 0;
    bool ended = false;
    r->module.keeps_moves = true;
    while (!ended && getline(&text, &room, stdin) > 0) {
        bool known = command(r, text, out, &ended);
        fprintf(out, "%s %" PRIu64 "\n", known ? "now" : "wrong", (uint64_t)r->avr->cycle);
        fflush(out);
    }
    free(text);
    return !ended;
}
