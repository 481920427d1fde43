/* What the files of m2560_quick*.S share: the layout of m2560_quick_state (m2560_quick.h), registers and
 * macros. */
#ifndef BD_M2560_QUICK_ASM_H
#define BD_M2560_QUICK_ASM_H

#include "m2560_asm.h"
#include "../core/quick_ops.h"

#define Q(offset) m2560_quick + offset
#define A 0
#define D 4
#define TURNS 8
#define WAITS 9
#define WAITED 10
#define LEFT 11
#define SINCE 12
#define AT 14
#define PAYLOAD 16
#define ROW 18
#define IDLE 20
#define READ_SETUP 21
#define READ_STROBE 22
#define WRITE_SETUP 23
#define WRITE_STROBE 24
#define SETTLE 25
#define READ_PULSE 26
#define WRITE_PULSE 27
#define ONES 28
#define ROOM 32
#define LOST 34
#define FROM 35
#define TO 37
#define CRC 39
#define BLOCK 43
#define LEFT_OF_BLOCK 44
#define MAY 45
#define INNER 47
#define POLLS 48
#define REST 49
#define BODY 50

/* Two registers of timer 0 that it does not need: levels of the control lines. */
#define STROBE OCR0A
#define SENSE OCR0B
/* And one of the EEPROM: when turns end, of timer 0, which begins at 0. */
#define LIMIT EEARL
/* With the longest turn behind it less than 5 ms. */
#define SLICE F_CPU / 1024 / 250

/* r2 to r5 the word taken last or wanted, r6 to r9 the lines of a word, or those that a wait looks at,
 * r14 to r17 the checksum of the frame that comes, r22 what is left of its block, r18 to r20 A, r25 the
 * control lines set up for a write, r1 in idle; Y the row.
 *
 * T: bytes are decoded as they come, X is where they go to, r21 how many may be. Else they go into the
 * ring as they are, X is its head, r21 the low byte of the room in it. */

/* On with the next step. */
.macro next
    ld r30, Y+
    ld r31, Y+
    ijmp
.endm

/* A byte that came. */
.macro look
    lds r0, UCSR0A
    sbrc r0, RXC0
    rcall m2560_q_byte
.endm

.macro pause loops
    lds r24, Q(\loops)
77: dec r24
    brne 77b
.endm

/* A write cycle, from where address and data stand. */
.macro cycle
    out DDRA, r6
    out DDRB, r7
    out DDRC, r8
    out DDRD, r9
    out PORTG, r25
    pause SETTLE
    in r24, STROBE
    out PORTG, r24
    pause WRITE_PULSE
    out PORTG, r25
    clr r24
    nop
    out PORTG, r1
    release r24
    look
.endm

/* A read cycle up to where the lines are looked at, and from there to its hold. */
.macro sense
    in r24, SENSE
    out PORTG, r24
    pause SETTLE
    lds r24, Q(READ_STROBE)
    out PORTG, r24
    pause READ_PULSE
.endm
.macro sensed
    in r24, SENSE
    out PORTG, r24
.endm

/* Is the higher half as wanted? Ends the read cycle. */
.macro high
    in r24, PINC
    cp r24, r4
    in r24, PIND
    cpc r24, r5
    sensed
    nop
    nop
    out PORTG, r1
.endm

/* The next payload word of 32 lines. */
.macro take a, b, c, d
    lds r30, Q(PAYLOAD)
    lds r31, Q(PAYLOAD+1)
    ld \a, Z+
    ld \b, Z+
    ld \c, Z+
    ld \d, Z+
    sts Q(PAYLOAD), r30
    sts Q(PAYLOAD+1), r31
.endm

/* Does this byte of the word agree, and is its lane in the test? */
.macro open byte, n
    tst \byte
    brne 78f
    sbrs r23, \n
    rjmp .Lpart
78:
.endm

/* A byte that is still in the test shows a failure: Y is behind the lanes of WAIT. */
.macro fails byte, mask, n, to
    tst \mask
    breq 76f
    ldd r24, Y+3+\n
    and r24, \byte
    brne \to
76:
.endm

/* It leaves the test if it has agreed twice. */
.macro close byte, mask, n
    tst \byte
    brne 79f
    clr \mask
    ori r23, 1 << \n
79:
.endm

.macro ones
    lds r6, Q(ONES)
    lds r7, Q(ONES+1)
    lds r8, Q(ONES+2)
    lds r9, Q(ONES+3)
.endm

#endif
