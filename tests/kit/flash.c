/* What flash chips of both kinds have in common. */
#include <stdlib.h>
#include <string.h>

#include "flash.h"

bool flash_begin(flash_chip *f, const flash_type *type, uint16_t *cells) {
    f->type = type;
    f->cells = cells;
    f->sectors = 0;
    for (unsigned n = 0; n < 4; n++) f->sectors += type->regions[n].count;
    f->marked = calloc(f->sectors, 1);
    f->locked = calloc(f->sectors, 1);
    f->next_noise = (uintptr_t)cells | 1;
    return f->marked && f->locked;
}

uint16_t *flash_cell(flash_chip *f, uint32_t at) {
    return &f->cells[2 * (at % f->type->words)];
}

/* Undefined bits: never the same for long, so that nobody can rely on them. */
uint16_t flash_noise(flash_chip *f) {
    f->next_noise = f->next_noise * 6364136223846793005u + 1442695040888963407u;
    return (uint16_t)(f->next_noise >> 40);
}

/* The sector that holds a word: its number, first word and length. */
unsigned flash_sector(const flash_chip *f, uint32_t at, uint32_t *first, uint32_t *words) {
    uint32_t start = 0;
    unsigned number = 0;
    at %= f->type->words;
    for (unsigned n = 0; n < 4; n++) {
        uint32_t each = f->type->regions[n].words, count = f->type->regions[n].count;
        if (at < start + each * count) {
            number += (at - start) / each;
            *first = at - (at - start) % each;
            *words = each;
            return number;
        }
        start += each * count;
        number += count;
    }
    abort();
}

void flash_erase_marked(flash_chip *f) {
    for (uint32_t at = 0; at < f->type->words;) {
        uint32_t first, words;
        unsigned sector = flash_sector(f, at, &first, &words);
        if (f->marked[sector]) {
            for (uint32_t n = 0; n < words; n++) *flash_cell(f, first + n) = 0xFFFF;
            f->marked[sector] = 0;
            f->erases++;
        }
        at = first + words;
    }
}

/* The upper byte reads 0 on 16 lines. */
uint16_t flash_query(const flash_chip *f, uint32_t at) {
    uint32_t offset = at & 0xFF;
    return offset >= 0x10 && offset < 0x10 + sizeof f->type->query ? f->type->query[offset - 0x10]
                                                                   : 0;
}

void flash_power(flash_chip *f, bool on, uint64_t now) {
    (void)now;
    if (on == f->powered) return;
    if (!on && f->busy) {
        if (f->type->family == FLASH_AMD) {
            amd_lost(f);
        } else {
            intel_lost(f);
        }
    }
    f->powered = on;
    f->shows = f->step = f->busy = 0;
    f->bypass = f->fails = false;
    f->status = 0x80;
    memset(f->marked, 0, f->sectors);
    if (f->type->locks == LOCKS_AT_POWER_UP) memset(f->locked, 1, f->sectors);
}

void flash_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now) {
    if (f->type->family == FLASH_AMD) {
        amd_write(f, at, value, now);
    } else {
        intel_write(f, at, value, now);
    }
}

uint16_t flash_read(flash_chip *f, uint32_t at, uint64_t now) {
    return f->type->family == FLASH_AMD ? amd_read(f, at, now) : intel_read(f, at, now);
}
