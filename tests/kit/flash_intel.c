/* The Intel/Sharp type: commands of datasheets 28F001BX table 3, 28F400BL tables 4 and 5, 28F320W30
 * table 4, 28F128J3A p22; write buffer from memory (J3 datasheet); locks of 28F640C3. */
#include <string.h>

#include "flash.h"

enum { ARRAY, STATUS, IDS, QUERY };
enum { START, DATA, ERASE, LOCK, BUFFER_COUNT, BUFFER_LOAD, BUFFER_CONFIRM };
enum { IDLE, PROGRAMS, PROGRAMS_BUFFER, ERASES, CHANGES_LOCKS };
enum { READY = 0x80, ERASE_FAILED = 0x20, PROGRAM_FAILED = 0x10, IS_LOCKED = 0x02 };

#define REFUSED_NS 5000u /* how long a locked block is busy; no source */

static void settle(flash_chip *f, uint64_t now) {
    if (f->busy == IDLE || now < f->until) return;
    if (f->fails) {
        f->failures++;
    } else if (f->busy == PROGRAMS) {
        f->programs++;
    } else if (f->busy == PROGRAMS_BUFFER) {
        f->buffers++;
    } else if (f->busy == ERASES) {
        flash_erase_marked(f);
    }
    memset(f->marked, 0, f->sectors);
    f->busy = IDLE;
    f->status |= READY;
}

static void begin(flash_chip *f, uint8_t what, uint64_t lasts, uint64_t now) {
    f->busy = what;
    f->until = now + lasts;
    f->status &= (uint8_t)~READY;
    f->shows = STATUS;
    f->step = START;
}

static void fail(flash_chip *f, uint8_t bits) {
    f->status |= bits;
    f->fails = true;
}

static bool locked(const flash_chip *f, uint32_t at) {
    uint32_t first, words;
    return f->locked[flash_sector(f, at, &first, &words)];
}

static void program(flash_chip *f, uint32_t at, uint16_t value) {
    uint16_t *cell = flash_cell(f, at);
    f->begun++;
    if (locked(f, at)) {
        fail(f, PROGRAM_FAILED | IS_LOCKED);
        return;
    }
    if (~*cell & value) fail(f, PROGRAM_FAILED);
    *cell &= value;
}

static void sequence_error(flash_chip *f) {
    f->odd++;
    f->step = START;
    f->shows = STATUS;
    f->status |= ERASE_FAILED | PROGRAM_FAILED;
}

static void begin_erase(flash_chip *f, uint32_t at, uint64_t now) {
    uint32_t first, words;
    unsigned sector = flash_sector(f, at, &first, &words);
    f->fails = false;
    if (f->locked[sector]) fail(f, ERASE_FAILED | IS_LOCKED);
    f->marked[sector] = 1;
    begin(f, ERASES, f->fails ? REFUSED_NS : f->type->erase_ns, now);
}

static void lock(flash_chip *f, uint32_t at, uint8_t low, uint64_t now) {
    uint32_t first, words;
    unsigned sector = flash_sector(f, at, &first, &words);
    f->fails = false;
    if (f->type->locks == LOCKS_NONE || (low != 0x01 && low != 0xD0)) {
        sequence_error(f);
        return;
    }
    if (f->type->locks == LOCKS_CLEAR_ALL && low == 0xD0) {
        memset(f->locked, 0, f->sectors);
    } else {
        f->locked[sector] = low == 0x01;
    }
    begin(f, CHANGES_LOCKS, f->type->lock_ns, now);
}

static void load(flash_chip *f, uint32_t at, uint16_t value) {
    uint32_t page = ~(uint32_t)(f->type->buffer - 1);
    if (f->loads && (at & page) != (f->load_at[0] & page)) {
        sequence_error(f);
        return;
    }
    f->load_at[f->loads] = at;
    f->load[f->loads++] = value;
    if (f->loads == f->count) f->step = BUFFER_CONFIRM;
}

static void begin_buffer(flash_chip *f, uint64_t now) {
    f->fails = false;
    for (unsigned n = 0; n < f->loads; n++) program(f, f->load_at[n], f->load[n]);
    begin(f, PROGRAMS_BUFFER, f->fails ? REFUSED_NS : f->type->buffer_ns, now);
}

static void command(flash_chip *f, uint32_t at, uint8_t low) {
    f->target = at;
    switch (low) {
    case 0xFF: f->shows = ARRAY; break;
    case 0x70: f->shows = STATUS; break;
    case 0x90: f->shows = IDS; break;
    case 0x98: f->shows = QUERY; break;
    case 0x50: f->status &= READY; break;
    case 0x10:
    case 0x40:
        f->step = DATA;
        f->shows = STATUS;
        break;
    case 0x20:
        f->step = ERASE;
        f->shows = STATUS;
        break;
    case 0x60:
        f->step = LOCK;
        f->shows = STATUS;
        break;
    case 0xE8:
        if (f->type->buffer) {
            f->step = BUFFER_COUNT;
            f->shows = STATUS; /* bit 7: a buffer is free */
            break;
        }
        /* fall through */
    default: f->odd++;
    }
}

void intel_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now) {
    uint8_t low = (uint8_t)value;
    settle(f, now);
    if (f->busy) {
        f->odd += low != 0x70;
        return;
    }
    switch (f->step) {
    case START: command(f, at, low); break;
    case DATA:
        f->fails = false;
        f->target = at;
        program(f, at, value);
        begin(f, PROGRAMS, f->fails ? REFUSED_NS : f->type->program_ns, now);
        break;
    case ERASE:
        if (low == 0xD0) {
            begin_erase(f, at, now);
        } else {
            sequence_error(f);
        }
        break;
    case LOCK: lock(f, at, low, now); break;
    case BUFFER_COUNT:
        f->count = low + 1u;
        f->loads = 0;
        f->step = BUFFER_LOAD;
        if (f->count > f->type->buffer) sequence_error(f);
        break;
    case BUFFER_LOAD: load(f, at, value); break;
    default:
        if (low == 0xD0) {
            begin_buffer(f, now);
        } else {
            sequence_error(f);
        }
    }
}

/* While it is busy the other bits mean nothing. */
uint16_t intel_read(flash_chip *f, uint32_t at, uint64_t now) {
    uint32_t first, words;
    settle(f, now);
    if (f->busy) return flash_noise(f) & 0x7F;
    switch (f->shows) {
    case STATUS: return f->status;
    case QUERY: return flash_query(f, at);
    case IDS:
        switch (at & 0xFF) {
        case 0: return f->type->maker;
        case 1: return f->type->device;
        case 2: return f->locked[flash_sector(f, at, &first, &words)];
        default: return 0;
        }
    default: return *flash_cell(f, at);
    }
}

void intel_lost(flash_chip *f) {
    if (f->busy == PROGRAMS) *flash_cell(f, f->target) |= flash_noise(f);
    if (f->busy == PROGRAMS_BUFFER)
        for (unsigned n = 0; n < f->loads; n++) *flash_cell(f, f->load_at[n]) |= flash_noise(f);
    if (f->busy != ERASES) return;
    for (uint32_t at = 0; at < f->type->words; at++) {
        uint32_t first, words;
        if (f->marked[flash_sector(f, at, &first, &words)]) *flash_cell(f, at) = flash_noise(f);
    }
}
