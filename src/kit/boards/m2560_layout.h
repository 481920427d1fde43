/* What the bursts of m2560_bursts.h are made of; the assembler files know this layout. */
#ifndef BD_M2560_LAYOUT_H
#define BD_M2560_LAYOUT_H

typedef struct {
    uint8_t address[3], step[3];
    uint8_t levels[3];             /* of port G: idle, set-up, strobe */
    uint8_t level;                 /* of a charge */
    uint8_t settle, pulse;         /* loops of three periods */
    uint8_t port;                  /* of a word of one byte or two: its first */
    uint8_t found[4];              /* its AND, and its OR */
    uint8_t mode;
    uint8_t primed, before[4], last[4]; /* a word of four whose checksum is still to come */
} bd_burst;
M2560_AT(bd_burst, step, 3);
M2560_AT(bd_burst, levels, 6);
M2560_AT(bd_burst, level, 9);
M2560_AT(bd_burst, settle, 10);
M2560_AT(bd_burst, pulse, 11);
M2560_AT(bd_burst, port, 12);
M2560_AT(bd_burst, found, 13);
typedef struct {
    uint8_t address[3], step[2];
    uint8_t levels[5];
    uint8_t settle, read_pulse, write_pulse;
    uint8_t writes, turns, operations, charged;
    uint8_t value[4], got[4];
    uint8_t port, pair; /* of words of one byte or two, or 0; 1 of two */
} bd_sweep;
M2560_AT(bd_sweep, step, 3);
M2560_AT(bd_sweep, levels, 5);
M2560_AT(bd_sweep, settle, 10);
M2560_AT(bd_sweep, writes, 13);
M2560_AT(bd_sweep, charged, 16);
M2560_AT(bd_sweep, value, 17);
M2560_AT(bd_sweep, got, 21);
M2560_AT(bd_sweep, port, 25);
M2560_AT(bd_sweep, pair, 26);

#endif
