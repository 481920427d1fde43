/* One script of tests/vectors/scripts.txt: reads its record on standard input, in the words of the
 * file, and prints what comes of it, in the words of the file too. The bus is made up; a tick of the
 * clock is 100 ns, the time of a cycle. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "script.h"

#define MOST 4096

static bw_core core;
static bw_kept kept;
static uint8_t code[MOST];
static uint32_t answers[MOST], memory_at[MOST], memory[MOST], payload[MOST];
static unsigned code_count, answer_count, memory_count, payload_count, answered, cycles;
static unsigned width = 2;
static uint8_t rule = RULE_REST;
static uint32_t start[4], permit[2], clock_now, ready_from;
static long stop_at = -1, cut_at = -1;
static bool has_answers, permitted, no_lines, read_only, checking = true;

static unsigned events;

static void event(void) {
    printf(events++ ? " " : "cycles ");
}

/* Slot 1 is known to the checker and not to the bus. */
uint8_t env_width(bw_core *c, uint8_t slot) {
    (void)c;
    return slot == 0 || (slot == 1 && checking) ? (uint8_t)width : 0;
}

uint8_t env_rule(bw_core *c, uint8_t slot) {
    return env_width(c, slot) ? rule : RULE_NONE;
}

bool env_writes(bw_core *c, uint8_t slot) {
    (void)c;
    (void)slot;
    return !read_only;
}

bool env_may_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes) {
    (void)c;
    if (!lanes) abort();
    return slot == 0 && permitted && address >= permit[0] && address <= permit[1];
}

static uint32_t *cell(uint32_t address) {
    for (unsigned n = 0; n < memory_count; n++)
        if (memory_at[n] == address) return &memory[n];
    if (memory_count == MOST) abort();
    memory_at[memory_count] = address;
    memory[memory_count] = 0xFFFFFFFF;
    return &memory[memory_count++];
}

static uint32_t answer(uint32_t address) {
    uint32_t word;
    cycles++;
    clock_now++;
    if (has_answers) {
        word = answered < answer_count ? answers[answered] : 0;
        if (answered + 1 < answer_count) answered++;
    } else {
        word = *cell(address);
    }
    return width == 4 ? word : word & ((1u << 8 * width) - 1);
}

uint32_t env_read(bw_core *c, uint8_t slot, uint32_t address) {
    uint32_t word = answer(address);
    (void)c;
    (void)slot;
    event();
    printf("r%X=%X", address, word);
    return word;
}

uint32_t env_read_charged(bw_core *c, uint8_t slot, uint32_t address, uint32_t charge) {
    uint32_t word = answer(address);
    (void)c;
    (void)slot;
    event();
    printf("c%X=%X~%X", address, word, charge);
    return word;
}

void env_write(bw_core *c, uint8_t slot, uint32_t address, uint32_t value, uint32_t lanes) {
    uint32_t ones = run_ones(c), strobed = rule == RULE_STROBES ? lanes : ones;
    (void)slot;
    if (value & ~ones) abort();
    cycles++;
    clock_now++;
    if (!has_answers) *cell(address) = (*cell(address) & ~strobed) | (value & strobed);
    event();
    printf("w%X=%X", address, value);
    if (strobed != ones) printf("&%X", strobed);
}

uint8_t env_line(bw_core *c, uint8_t line, bool active) {
    static const char *const names[] = {"reset", "protect", "mark"};
    (void)c;
    if (no_lines) return E_NO_LINE;
    event();
    printf("%c%s", active ? '+' : '-', names[line]);
    return E_GOOD;
}

bool env_ready(bw_core *c) {
    (void)c;
    return clock_now >= ready_from;
}

bool env_powered(bw_core *c) {
    (void)c;
    return cut_at < 0 || cycles < (unsigned long)cut_at;
}

uint32_t env_now(bw_core *c) {
    (void)c;
    return clock_now;
}

void env_pass(bw_core *c, uint32_t ticks) {
    (void)c;
    clock_now += ticks;
}

uint32_t env_payload(bw_core *c, uint16_t word) {
    (void)c;
    return word < payload_count ? payload[word] : 0;
}

void count_on(uint32_t *at, uint16_t more) {
    *at += more;
}

/* The interpreter alone is held to the vectors. */
void stretch_run(bw_core *c) {
    (void)c;
}

uint32_t us_ticks(uint32_t us) {
    return us > 0x7FFFFFFFu / BD_TICKS ? 0x7FFFFFFFu : us * BD_TICKS;
}

uint32_t ms_ticks(uint32_t ms) {
    return ms > 0x7FFFFFFFu / (1000u * BD_TICKS) ? 0x7FFFFFFFu : ms * (1000u * BD_TICKS);
}

uint32_t ms_ahead(bw_core *c, uint32_t ms) {
    return env_now(c) + ms_ticks(ms);
}

static void line(char *text) {
    char *key = strtok(text, " \n"), *word;
    bool rest_of_it = false;
    unsigned n = 0;
    if (!key) return;
    if (!strcmp(key, "answers")) has_answers = true;
    if (!strcmp(key, "no-lines")) no_lines = true;
    if (!strcmp(key, "read-only")) read_only = true;
    while ((word = strtok(0, " \n"))) {
        uint32_t hex = (uint32_t)strtoul(word, 0, 16);
        long decimal = strtol(word, 0, 10);
        if (!strcmp(key, "code")) code[code_count++] = (uint8_t)hex;
        if (!strcmp(key, "payload")) payload[payload_count++] = hex;
        if (!strcmp(key, "answers")) answers[answer_count++] = hex;
        if (!strcmp(key, "start") && n < 4) start[n] = hex;
        if (!strcmp(key, "width")) width = (unsigned)decimal / 8;
        if (!strcmp(key, "ready")) ready_from = (uint32_t)((decimal + 99) / 100);
        if (!strcmp(key, "stop")) stop_at = decimal;
        if (!strcmp(key, "cut")) cut_at = decimal;
        if (!strcmp(key, "permit") && n < 2) {
            permit[n] = hex;
            permitted = true;
        }
        if (!strcmp(key, "rule"))
            rule = !strcmp(word, "whole") ? RULE_WHOLE
                   : !strcmp(word, "strobes") ? RULE_STROBES
                                              : RULE_REST;
        if (!strcmp(key, "memory")) {
            if (rest_of_it) {
                memory[memory_count++] = hex;
            } else {
                memory_at[memory_count] = hex;
            }
            rest_of_it = !rest_of_it;
        }
        n++;
    }
}

static const char *const ends[] = {"good",         "stopped",   "dead-man",  "rail-off",
                                   "session",      "wait-failed", "timed-out", "not-permitted",
                                   "read-only",    "partial-lanes", "no-shape", "no-line",
                                   "power-lost"};
static const char *const lanes[] = {"-", "done", "different", "failed", "aborted", "timed-out"};

static uint32_t word_at(const uint8_t *at) {
    return op_get(at, 4);
}

static void report(void) {
    const bw_run *r = &core.run;
    if (events) printf("\n");
    printf("end %s %u\nlanes", ends[r->verdict], r->end_at);
    for (unsigned n = 0; n < 4; n++) printf(" %s", lanes[r->wait.lane[n]]);
    printf("\nregisters %X %X\n", r->a, r->d);
    if (kept.emitted) {
        printf("emitted");
        for (unsigned n = 0; n < kept.emitted; n++) printf(" %X", word_at(kept.pool + 4 * n));
        printf("\n");
    }
    if (kept.mismatches) {
        printf("mismatches %u", kept.mismatches);
        for (unsigned n = 1; n <= kept.listed; n++) {
            const uint8_t *at = kept.pool + BD_POOL - 12 * n;
            printf(" %X:%X:%X", word_at(at), word_at(at + 4), word_at(at + 8));
        }
        printf("\n");
    }
    printf("ns %lu\n", (unsigned long)(r->seen - r->began) * 100);
}

int main(void) {
    static char text[1024];
    bw_limits limits = {128, 1024, 100, 1000, 100, 1000};
    bw_need need;
    bw_run *r = &core.run;
    while (fgets(text, sizeof text, stdin)) line(text);
    script_check(&core, &limits, code, (uint16_t)code_count, 1, &need);
    if (need.refused) {
        printf("invalid %u %u\n", need.at, need.refused);
        return 0;
    }
    if (need.uses_n && start[2] == 0) {
        printf("refused count\n");
        return 0;
    }
    if (start[3] == 0) {
        printf("refused lanes\n");
        return 0;
    }
    if (need.uses_n) script_check(&core, &limits, code, (uint16_t)code_count, start[2], &need);
    if (need.refused) {
        printf("refused check %u %u\n", need.at, need.refused);
        return 0;
    }
    if (need.payload != payload_count) {
        printf("refused payload %u\n", need.payload);
        return 0;
    }
    checking = false;
    r->code = code;
    r->length = (uint16_t)code_count;
    r->a = start[0];
    r->b = start[1];
    r->n = start[2];
    r->mask = start[3];
    r->kept = &kept;
    kept.listed_room = 64;
    run_look(&core);
    run_begin(&core);
    for (;;) {
        uint8_t step;
        if (stop_at >= 0 && cycles >= (unsigned long)stop_at) run_stop(&core, E_STOPPED);
        step = run_step(&core);
        if (step == STEP_DONE) break;
        if (step == STEP_WAITS) clock_now = r->wake;
    }
    report();
    return 0;
}
