/* The module: asked when a port is read, told when one is written. */
#include "rig.h"

enum { OE = 1, WE = 2, CS0 = 4, CS1 = 8 };

/* Simulated rail: full after 3 ms, gone after 20. */
#define RISE_MS 3
#define FALL_MS 20

/* Below this it neither answers nor takes anything for certain. */
#define LEAST_MV 3000

static uint8_t out(const rig_module *m, int pin) {
    const uint8_t *d = m->avr->data;
    return d[pin + 2] & d[pin + 1];
}

static uint32_t address(const rig_module *m) {
    return pins_port(m, ADDRESS) & pins_driven(m, ADDRESS);
}

static uint32_t data_out(const rig_module *m) {
    return pins_port(m, DATA) & pins_driven(m, DATA);
}

static uint32_t data_driven(const rig_module *m) {
    return pins_driven(m, DATA);
}

/* Control lines that nobody drives are pulled up to the module's own rail. */
static uint16_t control(const rig_module *m) {
    uint8_t driven = m->avr->data[PIN_G + 1];
    return out(m, PIN_G) | (m->powered ? (uint8_t)~driven : 0);
}

static uint64_t ns_since(const rig_module *m, uint64_t cycle) {
    return (m->avr->cycle - cycle) * 1000 / (m->avr->frequency / 1000000);
}

static uint64_t ns_now(const rig_module *m) {
    return m->avr->cycle * 1000 / (m->avr->frequency / 1000000);
}

static uint32_t *selected(rig_module *m, uint16_t levels, uint32_t at) {
    if (!(levels & CS0)) return at < m->store_words ? &m->store[at] : 0;
    if (!(levels & CS1)) return at < m->ram_words ? &m->ram[at] : 0;
    return 0;
}

/* Flash chips are asked once in each read cycle, RAM and ROM at any time. */
static uint32_t word_of(rig_module *m, uint16_t levels, uint32_t at) {
    uint64_t now = ns_now(m);
    if (!(m->chips || m->pages) || levels & CS0) return *selected(m, levels, at);
    if (m->pages) {
        uint32_t word = 0;
        for (unsigned n = 0; n < 4; n++) word |= (uint32_t)page_read(&m->page[n], at, now) << 8 * n;
        return word;
    }
    return flash_read(&m->chip[0], at, now) | (uint32_t)flash_read(&m->chip[1], at, now) << 16;
}

/* How fast words are programmed, without what lies between two sectors. */
static void note_program(rig_module *m, uint32_t words_before) {
    uint32_t words = module_programmed(m);
    uint64_t since = m->avr->cycle - m->program_at;
    if (words == words_before) return;
    if (since < m->avr->frequency / 10) {
        m->program_cycles += since;
        m->program_words += words - words_before;
    }
    m->program_at = m->avr->cycle;
}

static void flash_written(rig_module *m, uint32_t at, uint32_t word) {
    uint32_t before = module_programmed(m);
    flash_write(&m->chip[0], at, (uint16_t)word, ns_now(m));
    flash_write(&m->chip[1], at, (uint16_t)(word >> 16), ns_now(m));
    note_program(m, before);
}

/* Words that both chips have begun to program. */
uint32_t module_programmed(const rig_module *m) {
    return m->chip[0].begun < m->chip[1].begun ? m->chip[0].begun : m->chip[1].begun;
}

static void write_ends(rig_module *m, uint16_t before) {
    if (ns_since(m, m->write_at) < m->pulse_ns) m->short_pulses++;
    if (m->address_at > m->write_at) m->moved++;
    if (ns_since(m, m->data_at) < m->setup_ns) m->late_data++;
    m->write_end = m->avr->cycle;
    if (before & CS1) {
        if (m->pages) {
            uint32_t word = data_out(m) | ~data_driven(m);
            for (unsigned n = 0; n < 4; n++)
                page_write(&m->page[n], m->address, (uint8_t)(word >> 8 * n), ns_now(m));
        } else if (m->chips) {
            flash_written(m, m->address, data_out(m) | ~data_driven(m));
        } else {
            m->store_writes++;
        }
    } else if (m->address < m->ram_words) {
        m->ram[m->address] = data_out(m) | ~data_driven(m);
        m->ram_writes++;
    }
}

static void changed(rig_module *m) {
    uint16_t levels = control(m), before = m->control;
    uint32_t at = address(m), driven = data_driven(m);
    uint64_t now = m->avr->cycle;
    bool output, writing;
    for (unsigned group = DATA; group <= ADDRESS; group++)
        m->charge[group] = (m->charge[group] & ~pins_driven(m, group)) | pins_port(m, group);
    pins_noted(m);
    if (!m->powered) {
        if (ns_since(m, m->rail_at) > 1000000u * FALL_MS &&
            (data_out(m) | at | out(m, PIN_G)))
            m->unpowered++;
        return;
    }
    writing = !(levels & WE) && (levels & (CS0 | CS1)) != (CS0 | CS1);
    if (m->writing && !writing) write_ends(m, before);
    if (at != m->address) m->address_at = now;
    if (levels != before) {
        m->control_at = now;
        m->strobes++;
    }
    if (!m->writing && writing) {
        m->write_at = now;
        if (m->write_end && ns_since(m, m->write_end) < m->recovery_ns) m->hasty++;
    }
    output = !(levels & OE) && (levels & WE) && selected(m, levels, at);
    if (output && (!m->output || at != m->address || (levels ^ before) & (CS0 | CS1)))
        m->word = word_of(m, levels, at);
    m->output = output;
    if (output && driven) m->fights++;
    m->address = at;
    m->control = levels;
    m->writing = writing;
}

/* The rail's switch is held off by a resistor where its pin is no output. */
static void settled(rig_module *m) {
    bool is = out(m, PIN_E) & 1 << 5;
    if (is != m->powered) {
        m->fall_mv = module_mv(m, m->avr->cycle);
        m->rail_at = m->avr->cycle;
        m->powered = is;
        m->control = 0xFFFF;
        m->writing = m->output = false;
        for (unsigned n = 0; m->chips && n < 2; n++) flash_power(&m->chip[n], is, ns_now(m));
        for (unsigned n = 0; m->pages && n < 4; n++) page_power(&m->page[n], is, ns_now(m));
    }
    changed(m);
}

static void port_written(avr_t *avr, avr_io_addr_t at, uint8_t value, void *with) {
    rig_module *m = with;
    bool data = at <= PIN_D + 2;
    if (data && avr->data[at] != value) m->data_at = avr->cycle;
    avr->data[at] = value;
    settled(m);
}

void module_reset(rig_module *m) {
    settled(m);
}

static uint32_t bus(rig_module *m) {
    uint32_t driven = data_driven(m);
    if (m->powered && m->output) {
        uint64_t last = m->address_at > m->control_at ? m->address_at : m->control_at;
        /* The input synchroniser shows what the pin had one and a half periods before. */
        uint64_t half_ns = 500 / (m->avr->frequency / 1000000);
        if (ns_since(m, last) < m->access_ns + 3 * half_ns) {
            m->early++;
            return ~m->word;
        }
        if (m->read_at != last) m->reads++;
        m->read_at = last;
        m->charge[DATA] = m->word;
        if (m->supply_mv && module_mv(m, m->avr->cycle) < LEAST_MV) m->charge[DATA] = ~m->word;
    }
    return (m->charge[DATA] & ~driven) | data_out(m);
}

static uint32_t shown(rig_module *m, unsigned group) {
    uint32_t level[GROUPS];
    if (group == DATA || m->ties) level[DATA] = bus(m);
    level[ADDRESS] = m->charge[ADDRESS];
    level[CONTROL] = control(m) & 0x3F;
    if (m->ties) pins_tied(m, level);
    return level[group];
}

static uint8_t port_read(avr_t *avr, avr_io_addr_t at, void *with) {
    rig_module *m = with;
    (void)avr;
    switch (at) {
    case PIN_A: return (uint8_t)shown(m, DATA);
    case PIN_B: return (uint8_t)(shown(m, DATA) >> 8);
    case PIN_C: return (uint8_t)(shown(m, DATA) >> 16);
    case PIN_D: return (uint8_t)(shown(m, DATA) >> 24);
    case PIN_L: return (uint8_t)shown(m, ADDRESS);
    case PIN_K: return (uint8_t)(shown(m, ADDRESS) >> 8);
    case PIN_H: return (uint8_t)(shown(m, ADDRESS) >> 16);
    case PIN_G: return (uint8_t)shown(m, CONTROL);
    default: return (m->limited ? 0 : 1 << 7) | (m->busy ? 0 : 1 << 4) | (out(m, PIN_E) & 0x60);
    }
}

/* The rail at a cycle that is not long ago. */
uint16_t module_mv(const rig_module *m, uint64_t at) {
    uint64_t us = at < m->rail_at ? 0 : (at - m->rail_at) / (m->avr->frequency / 1000000);
    uint32_t mv;
    if (m->powered) {
        mv = us >= 1000 * RISE_MS ? 3300 : (uint32_t)(3300 * us / (1000 * RISE_MS));
        if (m->supply_mv && at >= m->supply_at && mv > m->supply_mv) mv = m->supply_mv;
    } else {
        mv = us >= 1000 * FALL_MS || m->rail_at == 0 ? 0
                                                     : (uint32_t)(m->fall_mv - m->fall_mv * us / (1000 * FALL_MS));
        if (mv < m->feed_mv) mv = m->feed_mv;
    }
    return (uint16_t)mv;
}

/* A conversion takes 13 periods of 8 us, and shows what was there at its beginning. */
static uint16_t sense(const rig_module *m) {
    uint64_t turn = 104 * (m->avr->frequency / 1000000), now = m->avr->cycle / turn;
    return now < 1 ? 0 : module_mv(m, (now - 1) * turn) / 5;
}

static uint8_t sense_read(avr_t *avr, avr_io_addr_t at, void *with) {
    (void)avr;
    return (uint8_t)(at == ADC_LOW ? sense(with) : sense(with) >> 8);
}

static void ignored(avr_t *avr, avr_io_addr_t at, uint8_t value, void *with) {
    (void)with;
    avr->data[at] = value;
}

void module_begin(rig_module *m, avr_t *avr) {
    static const uint16_t pins[] = {PIN_A, PIN_B, PIN_C, PIN_D, PIN_E, PIN_G, PIN_H, PIN_K, PIN_L};
    m->avr = avr;
    m->control = 0xFFFF;
    for (unsigned n = 0; n < sizeof pins / sizeof *pins; n++) {
        for (unsigned more = 1; more < 3; more++) {
            avr->io[AVR_DATA_TO_IO(pins[n] + more)].w.c = port_written;
            avr->io[AVR_DATA_TO_IO(pins[n] + more)].w.param = m;
        }
        avr->io[AVR_DATA_TO_IO(pins[n])].r.c = port_read;
        avr->io[AVR_DATA_TO_IO(pins[n])].r.param = m;
    }
    for (unsigned at = ADC_LOW; at <= ADC_HIGH; at++) {
        avr->io[AVR_DATA_TO_IO(at)].r.c = sense_read;
        avr->io[AVR_DATA_TO_IO(at)].r.param = m;
    }
    avr->io[AVR_DATA_TO_IO(ADC_CONTROL)].w.c = ignored;
}

uint32_t module_violations(const rig_module *m) {
    return m->early + m->fights + m->short_pulses + m->late_data + m->moved + m->hasty +
           m->unpowered + m->store_writes;
}
