/* The page-write type: bytes of one page are loaded, then the chip erases and writes the whole page by
 * itself; bytes that were not loaded become FF. Protected, it takes a page only after a command.
 *
 * Commands 5555/AA 2AAA/55 5555/A0 before a page, and ..80 ..AA ..55 ..20 for protection off: datasheet
 * AT28C040 0542F, algorithm 19 and its notes. 10 ms a cycle: features of AT29C datasheets. From memory,
 * AT29C datasheets: a byte comes 150 us after the one before at the latest; ids by 5555/AA 2AAA/55
 * 5555/90 and back by ..F0; a write that protection refuses is busy for a cycle; while it loads and
 * writes, bit 7 is the inverse of the last byte and bit 6 toggles. 64 KiB in pages of 128 bytes with the
 * ids of the AT29LV512: Linux jedec_probe.c, the page from memory. */
#include <string.h>

#include "flash_page.h"

#define US 1000ull
#define MS 1000000ull

enum { IDLE, COMMAND, LOAD, REFUSED, WRITES, REFUSES };

static const page_type types[] = {
    {"AT29LV512", 0x10000, 128, 0x1F, 0x3D, true, 150 * US, 10 * MS},
    {"AT29LV512-open", 0x10000, 128, 0x1F, 0x3D, false, 150 * US, 10 * MS},
};

static const struct {
    uint8_t length, codes[6];
} commands[] = {
    {3, {0xAA, 0x55, 0xA0}}, {6, {0xAA, 0x55, 0x80, 0xAA, 0x55, 0x20}}, {3, {0xAA, 0x55, 0x90}},
    {3, {0xAA, 0x55, 0xF0}},
};
enum { PROTECT, UNPROTECT, IDS, ARRAY, COMMANDS };

const page_type *page_find(const char *name) {
    for (unsigned n = 0; n < sizeof types / sizeof *types; n++)
        if (!strcmp(types[n].name, name)) return &types[n];
    return 0;
}

void page_begin(page_chip *f, const page_type *type, uint8_t *cells) {
    f->type = type;
    f->cells = cells;
    f->is_protected = type->is_protected;
    f->next_noise = (uintptr_t)cells | 1;
}

static uint8_t *cell(page_chip *f, uint32_t at) {
    return &f->cells[4 * (at % f->type->bytes)];
}

static uint8_t noise(page_chip *f) {
    f->next_noise = f->next_noise * 6364136223846793005u + 1442695040888963407u;
    return (uint8_t)(f->next_noise >> 40);
}

static void load(page_chip *f, uint32_t at, uint8_t value) {
    uint32_t page = f->type->page, first = at % f->type->bytes / page * page;
    if (f->state != LOAD) memset(f->loaded, 0, sizeof f->loaded);
    if (f->state != LOAD || f->length == 0) f->first = first;
    f->state = LOAD;
    f->length = 1; /* not empty */
    if (f->first != first) {
        f->odd++;
        return;
    }
    f->load[at % page] = value;
    f->loaded[at % page] = 1;
    f->loads++;
}

/* Writes that are no command: bytes of a page, unless it is protected. */
static void no_command(page_chip *f) {
    uint8_t length = f->length;
    f->lone += length;
    f->state = f->is_protected ? REFUSED : IDLE;
    if (f->is_protected) return;
    for (unsigned n = 0; n < length; n++) load(f, f->begun[n].at, f->begun[n].value);
}

static void write_page(page_chip *f) {
    for (uint32_t n = 0; n < f->type->page; n++)
        *cell(f, f->first + n) = f->loaded[n] ? f->load[n] : 0xFF;
    f->cycles++;
}

static void settle(page_chip *f, uint64_t now) {
    if (f->state == COMMAND && now >= f->until) no_command(f);
    if (f->state == LOAD && now >= f->until) {
        f->state = f->length ? WRITES : IDLE;
        f->until += f->type->cycle_ns;
    }
    if (f->state == REFUSED && now >= f->until) {
        f->state = REFUSES;
        f->until += f->type->cycle_ns;
    }
    if (f->state < WRITES || now < f->until) return;
    if (f->state == WRITES) write_page(f);
    f->state = IDLE;
}

static void obey(page_chip *f, unsigned command) {
    f->length = 0;
    f->state = IDLE;
    switch (command) {
    case PROTECT:
    case UNPROTECT:
        f->is_protected = command == PROTECT;
        memset(f->loaded, 0, sizeof f->loaded);
        f->state = LOAD; /* of nothing yet */
        break;
    default: f->ids = command == IDS;
    }
}

static bool fits(const page_chip *f, unsigned command) {
    static const uint16_t where[] = {0x5555, 0x2AAA, 0x5555};
    for (unsigned n = 0; n < f->length; n++)
        if ((f->begun[n].at & 0x7FFF) != where[n % 3] ||
            f->begun[n].value != commands[command].codes[n])
            return false;
    return f->length <= commands[command].length;
}

static void perhaps(page_chip *f, uint32_t at, uint8_t value) {
    bool some = false;
    f->begun[f->length].at = at;
    f->begun[f->length++].value = value;
    f->state = COMMAND;
    for (unsigned n = 0; n < COMMANDS; n++) {
        if (!fits(f, n)) continue;
        if (f->length == commands[n].length) {
            obey(f, n);
            return;
        }
        some = true;
    }
    if (!some) no_command(f);
}

void page_write(page_chip *f, uint32_t at, uint8_t value, uint64_t now) {
    settle(f, now);
    if (f->state >= WRITES) {
        f->odd++;
        return;
    }
    if (f->state != IDLE && now - f->written > f->longest) f->longest = now - f->written;
    if (f->state == IDLE) f->length = 0;
    switch (f->state) {
    case IDLE:
    case COMMAND: perhaps(f, at, value); break;
    case LOAD: load(f, at, value); break;
    default: f->lone++;
    }
    f->last = value;
    f->written = now;
    f->until = now + f->type->window_ns;
}

uint8_t page_read(page_chip *f, uint32_t at, uint64_t now) {
    settle(f, now);
    if (f->state >= REFUSED || (f->state == LOAD && f->length)) {
        f->toggle ^= 0x40;
        return (uint8_t)((~f->last & 0x80) | f->toggle | (noise(f) & 0x3F));
    }
    if (!f->ids) return *cell(f, at);
    switch (at & 0xFF) {
    case 0: return f->type->maker;
    case 1: return f->type->device;
    default: return 0xFE; /* no boot block is locked (from memory) */
    }
}

/* A page that was being written holds anything; the protection stays without supply. */
void page_power(page_chip *f, bool on, uint64_t now) {
    if (on == f->powered) return;
    if (!on) settle(f, now);
    if (!on && (f->state == WRITES || (f->state == LOAD && f->length))) {
        for (uint32_t n = 0; n < f->type->page; n++) *cell(f, f->first + n) = noise(f);
        f->lost++;
    }
    f->powered = on;
    f->state = IDLE;
    f->ids = false;
}
