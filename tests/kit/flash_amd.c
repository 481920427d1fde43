/* The AMD/Fujitsu type: commands of datasheets Am29LV160D table 9 and Am29F016D table 9, status of
 * Am29F040B p16 and Am29LV040B p18, write buffers of S29GL-M p105 and S29GL-A p46. */
#include <string.h>

#include "flash.h"

enum { ARRAY, IDS, QUERY };
enum {
    START, UNLOCKED_1, UNLOCKED_2, DATA, ERASE, ERASE_1, ERASE_2, LEAVE, BUFFER_COUNT, BUFFER_LOAD,
    BUFFER_CONFIRM
};
enum { IDLE, PROGRAMS, PROGRAMS_BUFFER, WINDOW, ERASES, EXCEEDED, ABORTED };

#define WINDOW_NS 50000u /* for further sectors */

/* Only A0 to A10 are decoded for the unlock cycles. */
static bool unlocks(uint32_t at, uint8_t low, bool second) {
    return (at & 0x7FF) == (second ? 0x2AAu : 0x555u) && low == (second ? 0x55 : 0xAA);
}

static void program(flash_chip *f, uint32_t at, uint16_t value) {
    f->begun++;
    *flash_cell(f, at) &= value;
}

static void settle(flash_chip *f, uint64_t now) {
    if (f->busy == WINDOW && now - f->last_sector >= WINDOW_NS) {
        unsigned count = 0;
        for (unsigned n = 0; n < f->sectors; n++) count += f->marked[n];
        f->busy = ERASES;
        f->until = f->last_sector + WINDOW_NS + count * f->type->erase_ns;
    }
    if (f->busy == IDLE || f->busy == WINDOW || f->busy >= EXCEEDED || now < f->until) return;
    if (f->fails) {
        f->busy = EXCEEDED;
        f->failures++;
        return;
    }
    if (f->busy == PROGRAMS) {
        f->programs++;
    } else if (f->busy == PROGRAMS_BUFFER) {
        f->buffers++;
    } else {
        flash_erase_marked(f);
    }
    f->busy = IDLE;
}

/* A 1 over a 0 never comes to a good end. */
static void begin(flash_chip *f, uint8_t what, uint64_t lasts, uint64_t now) {
    f->busy = what;
    f->until = now + (f->fails ? f->type->program_most_ns : lasts);
    f->toggle = 0;
    f->step = START;
}

static void begin_word(flash_chip *f, uint32_t at, uint16_t value, uint64_t now) {
    f->target = at;
    f->value = value;
    f->fails = (~*flash_cell(f, at) & value) != 0;
    program(f, at, value);
    begin(f, PROGRAMS, f->type->program_ns, now);
}

static void begin_buffer(flash_chip *f, uint64_t now) {
    f->fails = false;
    for (unsigned n = 0; n < f->loads; n++) {
        f->fails |= (~*flash_cell(f, f->load_at[n]) & f->load[n]) != 0;
        program(f, f->load_at[n], f->load[n]);
    }
    begin(f, PROGRAMS_BUFFER, f->type->buffer_ns, now);
}

static void abort_buffer(flash_chip *f) {
    f->busy = ABORTED;
    f->step = START;
    f->failures++;
}

static void odd(flash_chip *f) {
    f->odd++;
    f->step = START;
}

/* After both unlock cycles. */
static void command(flash_chip *f, uint32_t at, uint8_t low) {
    bool first = (at & 0x7FF) == 0x555;
    f->step = START;
    if (first && low == 0x90) {
        f->shows = IDS;
    } else if (first && low == 0xA0) {
        f->step = DATA;
    } else if (first && low == 0x20 && f->type->bypass) {
        f->bypass = true;
    } else if (first && low == 0x80) {
        f->step = ERASE;
    } else if (low == 0x25 && f->type->buffer) {
        f->step = BUFFER_COUNT;
        f->first = at;
    } else if (first && low == 0xF0) {
        f->shows = ARRAY;
    } else {
        odd(f);
    }
}

static void bypassed(flash_chip *f, uint8_t low) {
    if (low == 0xA0) {
        f->step = DATA;
    } else if (low == 0x90) {
        f->step = LEAVE;
    } else {
        odd(f);
    }
}

static void erase_sector(flash_chip *f, uint32_t at, uint64_t now) {
    uint32_t first, words;
    f->marked[flash_sector(f, at, &first, &words)] = 1;
    f->last_sector = now;
    f->busy = WINDOW;
    f->step = START;
    f->toggle = 0;
    f->fails = false;
}

static void load(flash_chip *f, uint32_t at, uint16_t value) {
    uint32_t first, words, buffer, page = ~(uint32_t)(f->type->buffer - 1);
    flash_sector(f, f->first, &first, &words);
    buffer = f->loads ? f->load_at[0] & page : at & page;
    if (at < first || at >= first + words || (at & page) != buffer) {
        abort_buffer(f);
        return;
    }
    f->load_at[f->loads] = at;
    f->load[f->loads++] = value;
    f->target = at;
    f->value = value;
    if (f->loads == f->count) f->step = BUFFER_CONFIRM;
}

static void at_work(flash_chip *f, uint32_t at, uint8_t low, uint64_t now) {
    if (f->busy == WINDOW && low == 0x30) {
        erase_sector(f, at, now);
    } else if (f->busy == EXCEEDED && low == 0xF0) {
        f->busy = IDLE;
        f->shows = ARRAY;
        f->bypass = false;
    } else if (f->busy == ABORTED && unlocks(at, low, false)) {
        f->step = UNLOCKED_1;
    } else if (f->busy == ABORTED && f->step == UNLOCKED_1 && unlocks(at, low, true)) {
        f->step = UNLOCKED_2;
    } else if (f->busy == ABORTED && f->step == UNLOCKED_2 && low == 0xF0) {
        f->busy = IDLE;
        f->step = START;
    } else {
        f->odd++;
    }
}

void amd_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now) {
    uint8_t low = (uint8_t)value;
    settle(f, now);
    if (f->busy) {
        at_work(f, at, low, now);
        return;
    }
    switch (f->step) {
    case START:
        if (f->bypass) {
            bypassed(f, low);
        } else if (unlocks(at, low, false)) {
            f->step = UNLOCKED_1;
        } else if (low == 0xF0) {
            f->shows = ARRAY;
        } else if ((at & 0x7FF) == 0x55 && low == 0x98) {
            if (f->type->query[0]) f->shows = QUERY;
        } else {
            odd(f);
        }
        break;
    case UNLOCKED_1:
        f->step = UNLOCKED_2;
        if (!unlocks(at, low, true)) odd(f);
        break;
    case UNLOCKED_2: command(f, at, low); break;
    case DATA: begin_word(f, at, value, now); break;
    case ERASE:
        f->step = ERASE_1;
        if (!unlocks(at, low, false)) odd(f);
        break;
    case ERASE_1:
        f->step = ERASE_2;
        if (!unlocks(at, low, true)) odd(f);
        break;
    case ERASE_2:
        if (low == 0x30) {
            erase_sector(f, at, now);
        } else if (low == 0x10 && (at & 0x7FF) == 0x555) {
            erase_sector(f, at, now);
            memset(f->marked, 1, f->sectors);
        } else {
            odd(f);
        }
        break;
    case LEAVE:
        f->step = START;
        if (low == 0) {
            f->bypass = false;
        } else {
            odd(f);
        }
        break;
    case BUFFER_COUNT:
        f->count = low + 1u;
        f->loads = 0;
        f->step = BUFFER_LOAD;
        if (f->count > f->type->buffer) abort_buffer(f);
        break;
    case BUFFER_LOAD: load(f, at, value); break;
    default:
        if (low == 0x29) {
            begin_buffer(f, now);
        } else {
            abort_buffer(f);
        }
    }
}

/* DQ6 toggles with every read, DQ2 only while it erases; what is not said is undefined. */
static uint16_t working(flash_chip *f) {
    uint16_t shows = flash_noise(f) & 0xFF13;
    f->toggle ^= 0x44;
    if (f->busy == WINDOW || f->busy == ERASES) {
        shows |= f->toggle | (f->busy == ERASES ? 0x08 : 0);
    } else {
        shows |= (~f->value & 0x80) | (f->toggle & 0x40);
        shows &= (uint16_t)~0x02;
    }
    if (f->busy == EXCEEDED) shows |= 0x20;
    if (f->busy == ABORTED) shows |= 0x02;
    return shows;
}

uint16_t amd_read(flash_chip *f, uint32_t at, uint64_t now) {
    settle(f, now);
    if (f->busy) return working(f);
    if (f->shows == QUERY) return flash_query(f, at);
    if (f->shows == IDS) {
        switch (at & 0xFF) {
        case 0: return f->type->maker;
        case 1: return f->type->device;
        case 2: return 0; /* no sector is protected */
        default: return 0;
        }
    }
    return *flash_cell(f, at);
}

void amd_lost(flash_chip *f) {
    if (f->busy == PROGRAMS) *flash_cell(f, f->target) |= flash_noise(f);
    if (f->busy == PROGRAMS_BUFFER)
        for (unsigned n = 0; n < f->loads; n++) *flash_cell(f, f->load_at[n]) |= flash_noise(f);
    if (f->busy != ERASES) return;
    for (uint32_t at = 0; at < f->type->words; at++) {
        uint32_t first, words;
        if (f->marked[flash_sector(f, at, &first, &words)]) *flash_cell(f, at) = flash_noise(f);
    }
}
