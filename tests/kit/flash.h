/* Flash chips of 16 data lines, written from datasheet facts and from nothing of the product; the
 * sources are in flash_types.c. Times are nanoseconds of simulated time. */
#ifndef FLASH_H
#define FLASH_H

#include <stdbool.h>
#include <stdint.h>

typedef enum { FLASH_AMD, FLASH_INTEL } flash_family;
typedef enum { LOCKS_NONE, LOCKS_CLEAR_ALL, LOCKS_AT_POWER_UP } flash_locks;

typedef struct {
    const char *name;
    flash_family family;
    uint32_t words;
    struct {
        uint32_t words, count;
    } regions[4];
    uint16_t maker, device;
    bool bypass;
    flash_locks locks;
    uint8_t buffer; /* words of a write buffer; 0: none */
    uint8_t query[0x40]; /* from offset 10 on */
    uint64_t program_ns, program_most_ns, buffer_ns, erase_ns, lock_ns;
} flash_type;

typedef struct {
    const flash_type *type;
    uint16_t *cells; /* every second one: the lane beside it is another chip's */
    bool powered;
    /* What reads show, and how far a command has come; numbers of the family's file. */
    uint8_t shows, step;
    bool bypass;
    /* At work until then; what it does to which words. */
    uint8_t busy;
    uint64_t until, last_sector, next_noise;
    uint32_t target;
    uint16_t value;
    bool fails; /* it will not come to a good end */
    uint8_t toggle, status;
    /* A write buffer being loaded. */
    uint32_t load_at[256], first;
    uint16_t load[256];
    unsigned loads, count;
    uint8_t *marked, *locked; /* sectors that an erase is for; that are locked */
    unsigned sectors;
    /* Books. `begun`: words whose programming has begun; `odd`: commands that it does not know, or
     * that come while it cannot take them. */
    uint32_t begun, programs, buffers, erases, odd, failures;
} flash_chip;

const flash_type *flash_find(const char *name);
bool flash_begin(flash_chip *f, const flash_type *type, uint16_t *cells);
/* Supply comes or goes; what was at work then leaves undefined cells. */
void flash_power(flash_chip *f, bool on, uint64_t now);
/* A write cycle ends; a read cycle begins. */
void flash_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now);
uint16_t flash_read(flash_chip *f, uint32_t at, uint64_t now);

/* For the families' files. */
uint16_t *flash_cell(flash_chip *f, uint32_t at);
uint16_t flash_noise(flash_chip *f);
unsigned flash_sector(const flash_chip *f, uint32_t at, uint32_t *first, uint32_t *words);
void flash_erase_marked(flash_chip *f);
uint16_t flash_query(const flash_chip *f, uint32_t at);
void amd_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now);
uint16_t amd_read(flash_chip *f, uint32_t at, uint64_t now);
void amd_lost(flash_chip *f);
void intel_write(flash_chip *f, uint32_t at, uint16_t value, uint64_t now);
uint16_t intel_read(flash_chip *f, uint32_t at, uint64_t now);
void intel_lost(flash_chip *f);

#endif
