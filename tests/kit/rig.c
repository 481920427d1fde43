/* usage: rig [--steps] ELF CLOCK STORE RAM_WORDS [CHIP]: STORE is a file of 32-bit words, in a ROM or
 * in two chips of this type, or four that take pages; then the file is written again at the end. Prints the name of a
 * pseudo-terminal, serves it until its standard input ends, then writes its books to standard error.
 * With --steps there is no pseudo-terminal: rig_steps.c tells what standard input says then. The
 * simulator's own words are kept from standard output. */
#define _GNU_SOURCE
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sim_elf.h>
#include <unistd.h>

#include "rig.h"

/* Interrupts of a part with a program counter of 22 bits take five cycles to begin. */
static void entered(struct avr_irq_t *irq, uint32_t value, void *with) {
    avr_t *avr = with;
    (void)irq;
    if (value) avr->cycle += 5;
}

static bool load(rig_module *m, const char *file, uint32_t ram_words) {
    FILE *f = fopen(file, "rb");
    long bytes;
    if (!f || fseek(f, 0, SEEK_END) || (bytes = ftell(f)) < 4) return false;
    rewind(f);
    m->store_words = (uint32_t)bytes / 4;
    m->store = malloc((size_t)bytes);
    m->ram_words = ram_words;
    m->ram = calloc(ram_words ? ram_words : 1, 4);
    return m->store && m->ram && fread(m->store, 4, m->store_words, f) == m->store_words &&
           !fclose(f);
}

static bool chips(rig_module *m, const char *name) {
    const flash_type *type = flash_find(name);
    const page_type *pages = page_find(name);
    uint16_t *cells = (uint16_t *)m->store;
    m->pages = pages && pages->bytes == m->store_words;
    for (unsigned n = 0; m->pages && n < 4; n++) page_begin(&m->page[n], pages, (uint8_t *)m->store + n);
    if (m->pages) return true;
    if (!type || type->words != m->store_words) return false;
    m->chips = true;
    return flash_begin(&m->chip[0], type, cells) && flash_begin(&m->chip[1], type, cells + 1);
}

static bool save(const rig_module *m, const char *file) {
    FILE *f = fopen(file, "wb");
    return f && fwrite(m->store, 4, m->store_words, f) == m->store_words && !fclose(f);
}

static void books(const rig_module *m, const rig_line *l, uint16_t stack) {
    fprintf(stderr, "violations %u: early %u, fights %u, short %u, late %u, moved %u, hasty %u, "
                    "unpowered %u, to the store %u\n",
            module_violations(m), m->early, m->fights, m->short_pulses, m->late_data, m->moved,
            m->hasty, m->unpowered, m->store_writes);
    for (unsigned n = 0; m->chips && n < 2; n++) {
        const flash_chip *f = &m->chip[n];
        fprintf(stderr, "chip %u: words %u, buffers %u, erases %u, odd %u, failures %u\n", n,
                f->programs, f->buffers, f->erases, f->odd, f->failures);
    }
    for (unsigned n = 0; m->pages && n < 4; n++) {
        const page_chip *f = &m->page[n];
        fprintf(stderr, "page chip %u: loads %u, cycles %u, longest %llu ns, lone %u, odd %u, lost %u\n", n,
                f->loads, f->cycles, (unsigned long long)f->longest, f->lone, f->odd, f->lost);
    }
    if (m->program_words)
        fprintf(stderr, "programmed %llu, cycles %llu\n", (unsigned long long)m->program_words,
                (unsigned long long)m->program_cycles);
    fprintf(stderr, "reads %llu, RAM writes %llu, overruns %u, overwritten %u, stack %u\n",
            (unsigned long long)m->reads, (unsigned long long)m->ram_writes, l->overruns,
            l->overwritten, stack);
    fprintf(stderr, "a byte waited %llu cycles at most, the first overrun at %05x\n",
            (unsigned long long)l->waited, l->overrun_pc);
    for (unsigned kind = 0; kind < 256; kind++)
        if (l->of[kind].frames)
            fprintf(stderr, "kind %02X: frames %llu, cycles %llu, reads %llu, line free %llu, bytes %llu\n", kind,
                    (unsigned long long)l->of[kind].frames,
                    (unsigned long long)(l->of[kind].last - l->of[kind].first),
                    (unsigned long long)l->of[kind].reads, (unsigned long long)l->of[kind].idle,
                    (unsigned long long)l->of[kind].bytes);
}

bool rig_turn(rig *r) {
    int state = avr_run(r->avr);
    uint16_t sp = (uint16_t)(r->avr->data[R_SPL] | r->avr->data[R_SPH] << 8);
    if (sp > 0x1000 && sp < r->lowest) r->lowest = sp;
    if (state != cpu_Done && state != cpu_Crashed) return true;
    fprintf(stderr, "the firmware has ended\n");
    return false;
}

/* False if the firmware has ended. */
static bool on_line(rig *r) {
    line_begins_pace(&r->line);
    while (rig_turn(r))
        if (line_keeps_pace(&r->line, r->module.read_at)) return true;
    return false;
}

int main(int argc, char **argv) {
    static rig r;
    static elf_firmware_t firmware;
    rig_module *m = &r.module;
    FILE *out = fdopen(dup(1), "w");
    bool steps = argc > 1 && !strcmp(argv[1], "--steps"), lives;
    dup2(2, 1);
    if (steps) argc--, argv++;
    if (argc < 5 || argc > 6 || elf_read_firmware(argv[1], &firmware)) return 2;
    r.avr = avr_make_mcu_by_name("atmega2560");
    if (!r.avr || !out) return 2;
    avr_init(r.avr);
    firmware.frequency = (uint32_t)strtoul(argv[2], 0, 0);
    avr_load_firmware(r.avr, &firmware);
    r.avr->frequency = firmware.frequency;
    r.avr->log = LOG_ERROR;
    r.avr->run_cycle_limit = 200;
    r.lowest = 0xFFFF;
    m->access_ns = 90;
    m->pulse_ns = 50;
    m->setup_ns = 50;
    m->recovery_ns = 30;
    if (!load(m, argv[3], (uint32_t)strtoul(argv[4], 0, 0))) return 2;
    if (argc == 6 && !chips(m, argv[5])) return 2;
    module_begin(m, r.avr);
    r.line.reads = &m->reads;
    if (!line_begin(&r.line, r.avr) || (!steps && !line_open(&r.line))) return 2;
    avr_irq_register_notify(avr_get_interrupt_irq(r.avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING, entered,
                            r.avr);
    fprintf(out, "%s\n", steps ? "steps" : ptsname(r.line.master));
    fflush(out);
    lives = steps ? rig_steps(&r, out) : on_line(&r);
    if (!lives) return 1;
    books(m, &r.line, (uint16_t)(r.avr->ramend - r.lowest));
    if ((m->chips || m->pages) && !save(m, argv[3])) return 2;
    return module_violations(m) || r.line.overwritten ? 1 : 0;
}
