/* Chip types of the rig. Those named kit- are invented, so small that a test takes seconds; no such
 * part exists; their query tables are laid out as JESD68.01 tables that datasheets print, their
 * times are those of parts of their kind: word 11 us (Am29LV160D, from memory), sector 0.7 s
 * (Am29LV040B p31), buffer 128 us and block 1.024 s (query table of 28F320J3A; of the AMD-type,
 * S29GL064N), word of C3 parts 12 us (from memory), lock bits 64 us (from memory). */
#include <string.h>

#include "flash.h"

#define US 1000ull
#define MS 1000000ull
/* Query offsets 10 to 1A: command set, place of its table, no second one; 1B to 1E: 2.7 to 3.6 V. */
#define SET(set, table) 0x51, 0x52, 0x59, set, 0, table, 0, 0, 0, 0, 0, 0x27, 0x36, 0, 0
#define REGION(count, units) (count) - 1, 0, (units) & 0xFF, (units) >> 8
#define BOOT_REGIONS {{0x2000, 1}, {0x1000, 2}, {0x4000, 1}, {0x8000, 1}}
/* Command set 2; typical word 16 us, at most 512; sector 1.024 s, at most 16 s; 128 KiB. */
#define BOOT_QUERY                                                                                 \
    SET(2, 0x40), 4, 0, 10, 0, 5, 0, 4, 0, 0x11, 1, 0, 0, 0, 4, REGION(1, 0x40), REGION(2, 0x20),  \
        REGION(1, 0x80), REGION(1, 0x100), 0, 0, 0, 0x50, 0x52, 0x49, 0x31, 0x33, 0, 2, 1, 1, 4,   \
        0, 0, 0, 0, 0, 2

static const flash_type types[] = {
    /* A real part: 512 KiB, boot sectors at the bottom, unlock bypass; id and sectors of the Linux
     * source file jedec_probe.c. It has no query table. */
    {"Am29LV400BB", FLASH_AMD, 0x40000, {{0x2000, 1}, {0x1000, 2}, {0x4000, 1}, {0x8000, 7}}, 0x01,
     0x22BA, true, LOCKS_NONE, 0, {0}, 11 * US, 360 * US, 0, 700 * MS, 0},
    /* AMD type without the unlock bypass. */
    {"kit-n", FLASH_AMD, 0x10000, BOOT_REGIONS, 0x01, 0x22E2, false, LOCKS_NONE, 0, {BOOT_QUERY},
     11 * US, 360 * US, 0, 700 * MS, 0},
    /* AMD type with a write buffer of 16 words. */
    {"kit-g", FLASH_AMD, 0x10000, {{0x4000, 4}}, 0x01, 0x22E3, true, LOCKS_NONE, 16,
     {SET(2, 0x40), 7, 7, 10, 0, 3, 5, 4, 0, 0x11, 1, 0, 5, 0, 1, REGION(4, 0x80), 0, 0, 0, 0, 0, 0, 0,
      0, 0, 0, 0, 0, 0, 0, 0, 0x50, 0x52, 0x49, 0x31, 0x33, 0x10, 2, 1, 1, 4, 0, 0, 1, 0xB5, 0xC5, 0},
     60 * US, 1024 * US, 128 * US, 700 * MS, 0},
    /* Intel type with a write buffer of 16 words and lock bits that are cleared all at once. */
    {"kit-i", FLASH_INTEL, 0x10000, {{0x4000, 4}}, 0x89, 0x00E4, false, LOCKS_CLEAR_ALL, 16,
     {SET(1, 0x31), 7, 7, 10, 0, 4, 4, 4, 0, 0x11, 1, 0, 5, 0, 1, REGION(4, 0x80), 0x50, 0x52, 0x49,
      0x31, 0x31, 0x0A, 0, 0, 0, 1, 1, 0, 0x33, 0, 1, 0, 3, 0},
     128 * US, 2048 * US, 128 * US, 1024 * MS, 64 * US},
    /* Intel type without a buffer, every block locked when the supply comes. */
    {"kit-c", FLASH_INTEL, 0x10000, {{0x1000, 8}, {0x8000, 1}}, 0x89, 0x88E5, false,
     LOCKS_AT_POWER_UP, 0,
     {SET(3, 0x35), 5, 0, 10, 0, 4, 0, 3, 0, 0x11, 1, 0, 0, 0, 2, REGION(8, 0x20), REGION(1, 0x100),
      0x50, 0x52, 0x49, 0x31, 0x30, 0x66, 0, 0, 0, 1, 3, 0, 0x33, 0xC0, 1, 0x80, 0, 3, 3},
     12 * US, 512 * US, 0, 1024 * MS, 64 * US},
    /* 2 MiB, boot sectors at the bottom. Ids and sectors: datasheet Am29LV160D table 9
     * and features; query bytes as two published emulators give them. */
    {"Am29LV160DB", FLASH_AMD, 0x100000, {{0x2000, 1}, {0x1000, 2}, {0x4000, 1}, {0x8000, 31}}, 0x01,
     0x2249, true, LOCKS_NONE, 0,
     {SET(2, 0x40), 4, 0, 10, 0, 5, 0, 4, 0, 0x15, 2, 0, 0, 0, 4, REGION(1, 0x40), REGION(2, 0x20),
      REGION(1, 0x80), REGION(31, 0x100), 0, 0, 0, 0x50, 0x52, 0x49, 0x31, 0x30, 0, 2, 1, 1, 4, 0, 0,
      0, 0, 0, 0},
     11 * US, 360 * US, 0, 700 * MS, 0},
};

const flash_type *flash_find(const char *name) {
    for (unsigned n = 0; n < sizeof types / sizeof *types; n++)
        if (!strcmp(types[n].name, name)) return &types[n];
    return 0;
}
