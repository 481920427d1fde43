/* A module for the host board: a store of 32-bit words at CS0, RAM at CS1, both active low, with OE
 * and WE. It keeps books of what must not happen. */
#ifndef HOST_MODULE_H
#define HOST_MODULE_H

#include "host.h"

typedef struct {
    uint32_t *store, *ram;
    uint32_t store_words, ram_words; /* beyond them nothing answers */
    uint32_t floating;               /* what lines show that nobody drives: their last level */
    bool was_writing;
    bool powered, falling, write_to;
    uint32_t write_at, write_value;
    uint32_t store_writes, ram_writes;
    uint32_t violations; /* fights, and lines high into a module without supply */
} host_module;

void module_changed(host_module *m, const host_pins *pins);
uint32_t module_data(host_module *m, const host_pins *pins);
uint16_t module_control(const host_module *m, const host_pins *pins);

#endif
