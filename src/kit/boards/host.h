/* A board that is a program: its pins and its line are functions of whoever runs it. For native
 * tests of the core; `host_ops` is all that a test has to bring. */
#ifndef BD_HOST_H
#define BD_HOST_H

#include <stdbool.h>
#include <stdint.h>

/* What the pins do; bit n is line n. A line neither driven nor pulled is an input. */
typedef struct {
    uint32_t address, data;
    uint16_t control;
    uint32_t address_out, data_out; /* driven lines */
    uint16_t control_out;
    uint32_t address_up, data_up; /* pulled up */
    uint16_t control_up;
    bool rail, mark;
} host_pins;

typedef struct {
    uint32_t (*now)(void *with); /* microseconds */
    void (*idle)(void *with);
    bool (*tx_free)(void *with);
    bool (*tx_idle)(void *with);
    void (*tx)(void *with, uint8_t byte);
    void (*rate)(void *with, uint32_t rate);
    void (*changed)(void *with, const host_pins *pins); /* after every change of a pin */
    void (*wait)(void *with, uint16_t ns);
    /* What the lines show. */
    uint32_t (*data)(void *with, const host_pins *pins);
    uint32_t (*address)(void *with, const host_pins *pins);
    uint16_t (*control)(void *with, const host_pins *pins);
    uint16_t (*rail_mv)(void *with);
    bool (*over_current)(void *with);
    bool (*ready)(void *with);
} host_ops;

typedef struct {
    const host_ops *ops;
    void *with;
    host_pins pins;
    uint32_t boot_id;
} bd_state;

typedef uint16_t bd_wait_t;
typedef uint16_t bd_lines_t;

#define BD_RING 4200
#define BD_SPARE 64
#define BD_QUEUE 4096
#define BD_RX_BODY 2000
#define BD_TX_BODY 1056
#define BD_OUT 600
#define BD_SHAPES 8
#define BD_SCRIPTS 8
#define BD_SCRIPT_BYTES 512
#define BD_RUNS 4
#define BD_EMIT 192
#define BD_POOL 1000
#define BD_ROWS 72
#define BD_SCRATCH 800
#define BD_FIRMWARE "kit 0.1"
#ifndef BD_NAME
#define BD_NAME "kit host"
#endif
#define BD_DATA_LINES 32
#define BD_ADDRESS_LINES 24
#define BD_CONTROL_LINES 6
#define BD_CONTROL {{0, "OE"}, {1, "WE"}, {0, "CS0"}, {0, "CS1"}, {0, "RST"}, {0, "WP"}}
#define BD_RESET_LINE {4, 0}
#define BD_PROTECT_LINE {5, 0}
#define BD_HAS_MARK 1
#define BD_PATH 0
#define BD_RAIL_MV 3300
#define BD_IO_MV 3300
#define BD_IO_MEASURED 0
#define BD_INPUT_MV 5500
#define BD_LIMIT_MA 250
#define BD_SUPPLY 0
#define BD_SENSED 1
#define BD_CLOCK 16000000
#define BD_RESET_RATE 115200
#define BD_RATES {115200, 250000, 500000, 1000000}
#define BD_RATE_COUNT 4
#define BD_SETUP_NS 10
#define BD_PULSE_NS 20
#define BD_HOLD_NS 10
#define BD_RECOVER_NS 10
#define BD_RELEASE_NS 30
#define BD_OP_NS 2000
#define BD_CYCLE_NS 1000
#define BD_ATOMIC_OP_NS 2000
#define BD_ATOMIC_CYCLE_NS 1000
#define BD_TICKS 1

static inline void host_changed(bd_state *b) { b->ops->changed(b->with, &b->pins); }
static inline uint32_t bd_now(bd_state *b) { return b->ops->now(b->with); }
static inline uint8_t bd_beat(bd_state *b) { return (uint8_t)(b->ops->now(b->with) >> 10); }
static inline void bd_idle(bd_state *b) { b->ops->idle(b->with); }
static inline void bd_lock(bd_state *b) { (void)b; }
static inline void bd_unlock(bd_state *b) { (void)b; }
static inline bool bd_tx_free(bd_state *b) { return b->ops->tx_free(b->with); }
static inline bool bd_tx_idle(bd_state *b) { return b->ops->tx_idle(b->with); }
static inline void bd_tx(bd_state *b, uint8_t byte) { b->ops->tx(b->with, byte); }
static inline void bd_rate(bd_state *b, uint32_t rate) { b->ops->rate(b->with, rate); }

static inline void bd_address_drive(bd_state *b, bool on) {
    b->pins.address_out = on ? 0xFFFFFFFFu >> (32 - BD_ADDRESS_LINES) : 0;
    b->pins.address_up = 0;
    host_changed(b);
}

static inline void bd_address(bd_state *b, uint32_t address) {
    b->pins.address = address;
    host_changed(b);
}

static inline uint32_t bd_data_in(bd_state *b) { return b->ops->data(b->with, &b->pins); }

static inline void bd_data_drive(bd_state *b, uint32_t mask, uint32_t levels) {
    b->pins.data_out = mask;
    b->pins.data = levels & mask;
    b->pins.data_up = 0;
    host_changed(b);
}

static inline void bd_data_free(bd_state *b) {
    b->pins.data_out = b->pins.data_up = 0;
    host_changed(b);
}

static inline void bd_control_drive(bd_state *b, bd_lines_t mask, bd_lines_t levels) {
    b->pins.control_out = mask;
    b->pins.control = levels & mask;
    b->pins.control_up = 0;
    host_changed(b);
}

static inline void bd_control(bd_state *b, bd_lines_t levels) {
    b->pins.control = levels & b->pins.control_out;
    host_changed(b);
}

static inline void host_line(uint32_t bit, uint8_t action, uint32_t *out, uint32_t *level,
                             uint32_t *up) {
    *out = action >= 2 ? *out | bit : *out & ~bit;
    *level = action == 3 ? *level | bit : *level & ~bit;
    *up = action == 1 ? *up | bit : *up & ~bit;
}

static inline void bd_line(bd_state *b, uint8_t group, uint8_t line, uint8_t action) {
    uint32_t bit = (uint32_t)1 << line;
    host_pins *p = &b->pins;
    if (group == 0) {
        host_line(bit, action, &p->data_out, &p->data, &p->data_up);
    } else if (group == 1) {
        host_line(bit, action, &p->address_out, &p->address, &p->address_up);
    } else {
        uint32_t out = p->control_out, level = p->control, up = p->control_up;
        host_line(bit, action, &out, &level, &up);
        p->control_out = (uint16_t)out;
        p->control = (uint16_t)level;
        p->control_up = (uint16_t)up;
    }
    host_changed(b);
}

static inline uint32_t bd_address_in(bd_state *b) { return b->ops->address(b->with, &b->pins); }
static inline bd_lines_t bd_control_in(bd_state *b) { return b->ops->control(b->with, &b->pins); }
static inline bd_wait_t bd_wait_of(uint16_t ns) { return ns; }
static inline uint16_t bd_wait_ns(bd_wait_t wait) { return wait; }
static inline void bd_wait(bd_state *b, bd_wait_t wait) { b->ops->wait(b->with, wait); }

static inline void bd_rail(bd_state *b, bool on) {
    b->pins.rail = on;
    host_changed(b);
}

static inline uint16_t bd_rail_mv(bd_state *b) { return b->ops->rail_mv(b->with); }
static inline bool bd_over_current(bd_state *b) { return b->ops->over_current(b->with); }
static inline bool bd_ready(bd_state *b) { return b->ops->ready(b->with); }

static inline void bd_mark(bd_state *b, bool active) {
    b->pins.mark = active;
    host_changed(b);
}

static inline uint32_t bd_boot_id(bd_state *b) { return b->boot_id; }

#endif
