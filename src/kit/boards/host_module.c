#include "host_module.h"

enum { OE = 1, WE = 2, CS0 = 4, CS1 = 8 };

/* Control lines are pulled up to the module's own rail. */
uint16_t module_control(const host_module *m, const host_pins *pins) {
    uint16_t up = m->powered ? 0x3F : 0;
    return (uint16_t)((pins->control & pins->control_out) | (up & ~pins->control_out));
}

static uint32_t *selected(host_module *m, uint16_t control, uint32_t address) {
    if (!(control & CS0) && !(control & CS1)) {
        m->violations++;
        return 0;
    }
    if (!(control & CS0) && address < m->store_words) return &m->store[address];
    if (!(control & CS1) && address < m->ram_words) return &m->ram[address];
    return 0;
}

void module_changed(host_module *m, const host_pins *pins) {
    uint16_t control;
    uint32_t *word, driven = pins->data & pins->data_out;
    bool writing;
    if (m->powered && !pins->rail && !m->falling) {
        m->falling = true; /* the capacitors hold it for one more change of the pins */
        return;
    }
    m->falling = false;
    m->powered = pins->rail;
    if (!m->powered) {
        if (driven | pins->data_up | (pins->address & pins->address_out) | pins->address_up |
            (pins->control & pins->control_out) | pins->control_up)
            m->violations++;
        m->was_writing = false;
        return;
    }
    control = module_control(m, pins);
    word = selected(m, control, pins->address);
    writing = word && !(control & WE);
    if (word && !(control & OE) && (control & WE) && pins->data_out) m->violations++;
    if (writing) {
        m->write_at = pins->address;
        m->write_to = !(control & CS1) && control & CS0;
        m->write_value = driven | ~pins->data_out;
    } else if (m->was_writing) {
        /* At the end of the strobe, as a static RAM takes it. The store is read-only. */
        if (m->write_at != pins->address) m->violations++;
        if (!m->write_to) {
            m->store_writes++;
        } else {
            m->ram[m->write_at] = m->write_value;
            m->ram_writes++;
        }
    }
    m->was_writing = writing;
    m->floating = (m->floating & ~pins->data_out) | driven | pins->data_up;
}

uint32_t module_data(host_module *m, const host_pins *pins) {
    uint16_t control = module_control(m, pins);
    uint32_t *word = m->powered ? selected(m, control, pins->address) : 0;
    uint32_t driven = pins->data & pins->data_out;
    if (word && !(control & OE) && (control & WE)) m->floating = *word;
    return (m->floating & ~pins->data_out) | driven;
}
