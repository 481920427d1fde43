/* What the assembler files of the ATmega2560 board share: the line's registers, the checksum of a
 * byte, and the sender looked at in between.
 *
 * The send ring lies at 0200 to 03FF (see Makefile): an index is the address, and one bit of it says
 * that the end was reached. */
#ifndef BD_M2560_ASM_H
#define BD_M2560_ASM_H

#define __SFR_OFFSET 0
#include <avr/io.h>

/* Receiver, its interrupt and sender on; and the interrupt of an empty sender, too. */
#define LINE_ON (1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0)
#define LINE_SENDS (LINE_ON | 1 << UDRIE0)

/* The interrupt is let on; "all has left" is taken back first. */
.macro sends with
    ldi \with, 1 << U2X0 | 1 << TXC0
    sts UCSR0A, \with
    ldi \with, LINE_SENDS
    sts UCSR0B, \with
.endm

/* Keeps all registers that a function has to keep, and gives them back, by the compiler's own means: for
 * 20 periods that is 50 bytes shorter. X, Y and Z are lost first, Y and Z at last; r1 is 0 then. */
.macro keep_all
    ldi r26, 0
    ldi r27, 0
    ldi r30, pm_lo8(1f)
    ldi r31, pm_hi8(1f)
    jmp __prologue_saves__
1:
.endm
.macro return_all
    in r28, SPL
    in r29, SPH
    ldi r30, 18
    jmp __epilogue_restores__
.endm

/* bw_out of core/bw.h. */
#define OUT_HEAD 0
#define OUT_TAIL 2
#define OUT_BLOCK 4
#define OUT_READY 6
#define OUT_CRC 8
#define OUT_CODE 12

/* A byte into the checksum c0 to c3, lowest first. The table stands in four planes of 256 bytes. */
.macro crc c0, c1, c2, c3, byte
    eor \c0, \byte
    mov r30, \c0
    ldi r31, hi8(m2560_crc)
    lpm \c0, Z
    eor \c0, \c1
    inc r31
    lpm \c1, Z
    eor \c1, \c2
    inc r31
    lpm \c2, Z
    eor \c2, \c3
    inc r31
    lpm \c3, Z
.endm

/* Coded bytes from X on, `count` of them at most, decoded to Y on and into the checksum c0 to c3; ends
 * before a delimiter and, with `short`, behind a code byte. `with` and r0 are free. */
.macro decode c0, c1, c2, c3, block, left, count, with, short=0
61: ld \with, X+
    tst \with
    breq 64f
    tst \left
    breq 63f
    dec \left
    st Y+, \with
    crc \c0, \c1, \c2, \c3, \with
62: dec \count
    brne 61b
    rjmp 65f
63: mov r0, \block /* a code byte; a zero stands before it, but for the first and behind FF */
    mov \block, \with
    mov \left, \with
    dec \left
    dec r0
    ldi \with, 0xFE
    cp r0, \with
    brsh 62b
    clr \with
    st Y+, \with
    crc \c0, \c1, \c2, \c3, \with
    .if \short
    dec \count
    rjmp 65f
    .else
    rjmp 62b
    .endif
64: sbiw r26, 1
65:
.endm

/* Sends a byte if the sender takes one: Y is the tail, `low` and `high` where it has to end. */
.macro pump low, high
    lds r0, UCSR0A
    sbrs r0, UDRE0
    rjmp 99f
    cp r28, \low
    cpc r29, \high
    breq 99f
    ld r0, Y+
    sts UDR0, r0
    sbrc r29, 2
    ldi r29, 2
99:
.endm

/* bd_burst of m2560.h. */
#define BURST_ADDRESS 0
#define BURST_STEP 3
#define BURST_IDLE 6
#define BURST_SETUP 7
#define BURST_STROBE 8
#define BURST_LEVEL 9
#define BURST_SETTLE 10
#define BURST_PULSE 11
#define BURST_PORT 12
#define BURST_FOUND 13

/* Of a mode. */
#define TO_EQUAL 0
#define WHILE_EQUAL 1
#define RUN 2
#define SHORT 3
#define PAIR 5
#define NARROW 6
#define CHARGED 7

/* Registers of a port, from its address on, and of the port behind it. */
#define PIN_OF 0
#define DDR_OF 1
#define PORT_OF 2
#define BEHIND 3

/* The data lines driven; let go again, without pull-ups. */
.macro drive d0, d1, d2, d3, ones
    out PORTA, \d0
    out PORTB, \d1
    out PORTC, \d2
    out PORTD, \d3
    out DDRA, \ones
    out DDRB, \ones
    out DDRC, \ones
    out DDRD, \ones
.endm
.macro directions all
    out DDRA, \all
    out DDRB, \all
    out DDRC, \all
    out DDRD, \all
.endm
.macro release zero=r1
    out DDRA, \zero
    out DDRB, \zero
    out DDRC, \zero
    out DDRD, \zero
    out PORTA, \zero
    out PORTB, \zero
    out PORTC, \zero
    out PORTD, \zero
.endm

/* Waits loops of three periods. */
.macro loops count, with
    mov \with, \count
88: dec \with
    brne 88b
.endm

.macro sample d0, d1, d2, d3
    in \d0, PINA
    in \d1, PINB
    in \d2, PINC
    in \d3, PIND
.endm

.macro address a0, a1, a2
    sts PORTL, \a0
    sts PORTK, \a1
    sts PORTH, \a2
.endm

/* A byte into the checksum r30, c1 to c3, which is r30, c2, c3, c4 afterwards; for bytes in a row. */
.macro turn c1, c2, c3, c4, byte
    eor r30, \byte
    ldi r31, hi8(m2560_crc + 0x300)
    lpm \c4, Z
    dec r31
    lpm r0, Z
    eor \c3, r0
    dec r31
    lpm r0, Z
    eor \c2, r0
    dec r31
    lpm r30, Z
    eor r30, \c1
.endm

#endif
