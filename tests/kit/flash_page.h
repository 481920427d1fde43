/* Page-write chips of 8 data lines; the sources of their facts are in flash_page.c. */
#ifndef FLASH_PAGE_H
#define FLASH_PAGE_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
    const char *name;
    uint32_t bytes, page;
    uint8_t maker, device;
    bool is_protected; /* when the rig begins */
    uint64_t window_ns, cycle_ns;
} page_type;

typedef struct {
    const page_type *type;
    uint8_t *cells; /* every fourth one: the lanes beside it are other chips' */
    bool powered, is_protected, ids;
    /* How far a command or a load has come; the time when it ends if nothing more is written. */
    uint8_t state, length;
    uint64_t until, written, next_noise;
    struct {
        uint32_t at;
        uint8_t value;
    } begun[6]; /* what may become a command */
    uint32_t first; /* of the page that is loaded */
    uint8_t load[256], loaded[256], last, toggle;
    /* Books. `lone`: writes that nothing followed in time, so that they were no command, or that no
     * command came before; `odd`: bytes for another page, or while it is busy; `lost`: pages that
     * were being written when the supply went; `longest`: nanoseconds between two writes of a
     * command or a page. */
    uint32_t loads, cycles, lone, odd, lost;
    uint64_t longest;
} page_chip;

const page_type *page_find(const char *name);
void page_begin(page_chip *f, const page_type *type, uint8_t *cells);
void page_power(page_chip *f, bool on, uint64_t now);
/* A write cycle ends; a read cycle begins. */
void page_write(page_chip *f, uint32_t at, uint8_t value, uint64_t now);
uint8_t page_read(page_chip *f, uint32_t at, uint64_t now);

#endif
