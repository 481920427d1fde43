/* Single lines that are driven only to be looked at. Two microseconds are 16 periods at 8 MHz, so
 * port and bit are found beforehand, and no interrupt comes between. */
#ifndef BD_M2560_LINES_H
#define BD_M2560_LINES_H

/* Periods until a line shows through its series resistor what another one is driven to. */
#define M2560_SHOWS (2 * MHZ / 3)

/* Drives a line that was as `driven` and `port` say; false, and as before again, if it reads
 * opposite. PIN, DDR and PORT of a port follow each other. */
static inline bool m2560_try(volatile uint8_t *pin, uint8_t bit, bool high, uint8_t driven,
                             uint8_t port) {
    uint8_t on = high ? port | bit : port & (uint8_t)~bit, to = driven | bit;
    uint8_t wanted = high ? bit : 0, shows;
    pin[2] = on;
    pin[1] = to;
    __asm__ volatile("nop\n\tnop"); /* the input synchroniser */
    shows = pin[0] & bit;
    if (shows == wanted) return true;
    pin[1] = driven;
    pin[2] = port;
    return false;
}

#define BD_TRY
static BD_HERE bool bd_try(bd_state *b, uint8_t group, uint8_t line, bool high) {
    volatile uint8_t *pin = m2560_pin(group, line);
    uint8_t bit = (uint8_t)(1 << (line & 7)), driven = pin[1], port = pin[2];
    bool stays;
    (void)b;
    cli();
    stays = m2560_try(pin, bit, high, driven, port);
    sei();
    return stays;
}

static BD_HERE bool bd_look(bd_state *b, uint8_t group, uint8_t line, bool high, uint8_t *seen) {
    volatile uint8_t *pin = m2560_pin(group, line);
    uint8_t bit = (uint8_t)(1 << (line & 7)), driven = pin[1], port = pin[2];
    bool stays;
    (void)b;
    cli();
    stays = m2560_try(pin, bit, high, driven, port);
    _delay_loop_1(M2560_SHOWS / 3);
    seen[0] = PINA;
    seen[1] = PINB;
    seen[2] = PINC;
    seen[3] = PIND;
    seen[4] = PINL;
    seen[5] = PINK;
    seen[6] = PINH;
    seen[8] = PING;
    pin[1] = driven;
    pin[2] = port;
    sei();
    seen[7] = seen[9] = 0;
    seen[8] &= 0x3F;
    return stays;
}

#endif
