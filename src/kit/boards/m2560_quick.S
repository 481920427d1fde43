/* Rows of steps (core/quick_ops.h), and the line meanwhile: bytes that come go into the receive ring
 * without an interrupt, and while a chip is busy some are decoded. */
#include "m2560_asm.h"
#include "../core/quick_ops.h"

/* m2560_quick_state of m2560_quick.h. */
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
#define IDLE 18
#define READ_SETUP 19
#define READ_STROBE 20
#define WRITE_SETUP 21
#define WRITE_STROBE 22
#define SETTLE 23
#define READ_PULSE 24
#define WRITE_PULSE 25
#define ONES 26
#define WIDTH 29
#define ROW 30
#define HEAD 32
#define RING 34
#define RING_END 36
#define ROOM 38
#define LOST 39
#define FROM 40
#define TO 42
#define CRC 44
#define BLOCK 48
#define LEFT_OF_BLOCK 49
#define MAY 50
#define GULP 51
#define INNER 52
#define BEAT 53
#define SLICE 54

/* r2 to r5 the word taken last or wanted, r6 to r9 the lines that a wait looks at, r10 to r13 what is
 * written or read, r14:15 the payload, r16 turns left, r17 room in the ring, r18 to r20 the address,
 * r21 the low byte of the ring's end, r22 lanes that have left a wait, r23 its polls, r25 all ones,
 * r1 the control lines in idle, T words of 32 lines, X the ring's head, Y the row. */

/* On with the next step. */
.macro next
    ld r30, Y+
    subi r30, pm_lo8(-(.Ltable))
    ldi r31, pm_hi8(.Ltable)
    ijmp
.endm

/* A byte that came. */
.macro look
    lds r0, UCSR0A
    sbrc r0, RXC0
    rcall .Lbyte
.endm

.macro pause loops
    lds r24, Q(\loops)
77: dec r24
    brne 77b
.endm

.macro control level
    lds r24, Q(\level)
    out PORTG, r24
.endm

/* A read cycle at the address that stands there, up to its hold. */
.macro sense
    control READ_SETUP
    pause SETTLE
    control READ_STROBE
    pause READ_PULSE
    sample r10, r11, r12, r13
    control READ_SETUP
.endm

/* Its end; in r10 to r13 the lines that are not as wanted. */
.macro differ
    eor r10, r2
    eor r11, r3
    eor r12, r4
    eor r13, r5
    out PORTG, r1
    and r10, r6
    and r11, r7
    and r12, r8
    and r13, r9
.endm

/* The next payload word. */
.macro take
    movw r30, r14
    brts 75f
    rcall .Lnarrow
    rjmp 76f
75: ld r2, Z+
    ld r3, Z+
    ld r4, Z+
    ld r5, Z+
76: movw r14, r30
.endm

    .section .bss.m2560_quick, "aw", @nobits
    .global m2560_quick
m2560_quick:
    .space 55

    .section .text.m2560_quick, "ax", @progbits
    .balign 32 /* so that all of the table has one high byte */
.Ltable:
    rjmp .Lwrite
    rjmp .Lwrite_a
    rjmp .Ltake
    rjmp .Lskip
    rjmp .Lput
    rjmp .Lwant
    rjmp .Lwait
    rjmp .Lstep
    rjmp .Lloop
    rjmp .Lagain
    rjmp .Lend

/* void m2560_quick_run(void) */
    .global m2560_quick_run
m2560_quick_run:
    .irp n, 2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,28,29
    push r\n
    .endr
    lds r18, Q(A)
    lds r19, Q(A+1)
    lds r20, Q(A+2)
    lds r16, Q(TURNS)
    lds r14, Q(PAYLOAD)
    lds r15, Q(PAYLOAD+1)
    lds r1, Q(IDLE)
    lds r28, Q(ROW)
    lds r29, Q(ROW+1)
    lds r17, Q(ROOM)
    lds r21, Q(RING_END)
    ldi r25, 0xFF
    lds r24, Q(WIDTH)
    bst r24, 2
    lds r24, TCNT1L
    lds r24, TCNT1H
    sts Q(BEAT), r24
    lds r30, Q(HEAD)
    lds r31, Q(HEAD+1)
    lds r26, Q(RING)
    lds r27, Q(RING+1)
    cli
    lds r24, UCSR0B
    andi r24, 0xFF ^ 1 << RXCIE0
    sts UCSR0B, r24
    ldd r24, Z+0
    ldd r0, Z+1
    sei
    add r26, r24
    adc r27, r0
    next

.Lend:
    dec r16
    breq .Lleave
    look
    lds r24, TCNT1L
    lds r24, TCNT1H
    lds r0, Q(BEAT)
    sub r24, r0
    lds r0, Q(SLICE)
    cp r24, r0
    brsh .Lleave
    lds r28, Q(ROW)
    lds r29, Q(ROW+1)
    next

.Lleave_wait:
    sts Q(WAITS), r25
    sts Q(LEFT), r22
    sts Q(AT), r28
    sts Q(AT+1), r29
.Lleave:
    look
    clr r1
    sts Q(A), r18
    sts Q(A+1), r19
    sts Q(A+2), r20
    sts Q(TURNS), r16
    sts Q(PAYLOAD), r14
    sts Q(PAYLOAD+1), r15
    lds r24, Q(RING)
    sub r26, r24
    lds r24, Q(RING+1)
    sbc r27, r24
    lds r30, Q(HEAD)
    lds r31, Q(HEAD+1)
    cli
    std Z+1, r27
    std Z+0, r26
    lds r24, UCSR0B
    ori r24, 1 << RXCIE0
    sts UCSR0B, r24
    sei
    .irp n, 29,28,17,16,15,14,13,12,11,10,9,8,7,6,5,4,3,2
    pop r\n
    .endr
    ret

/* Bytes into the ring, as many as there are. If it is full they stay where they are, and the receiver
 * will tell. */
.Lbyte:
    tst r17
    breq 2f
    dec r17
    lds r24, UDR0
    st X+, r24
    sbrc r0, DOR0
    rjmp 3f
1:  cp r26, r21
    breq 4f
5:  lds r0, UCSR0A
    sbrc r0, RXC0
    rjmp .Lbyte
2:  ret
3:  lds r24, Q(LOST)
    inc r24
    sts Q(LOST), r24
    rjmp 1b
4:  lds r24, Q(RING_END+1)
    cpse r27, r24
    rjmp 5b
    lds r26, Q(RING)
    lds r27, Q(RING+1)
    rjmp 5b

/* A word of 8 or 16 lines, from Z on. */
.Lnarrow:
    clr r4
    clr r5
    clr r3
    ld r2, Z+
    lds r24, Q(WIDTH)
    sbrc r24, 1
    ld r3, Z+
    ret

.Lwrite:
    ld r24, Y+
    sts PORTL, r24
    ld r24, Y+
    sts PORTK, r24
    ld r24, Y+
    sts PORTH, r24
    rjmp .Lvalue
.Lwrite_a:
    address r18, r19, r20
.Lvalue:
    ld r10, Y+
    ld r11, Y+
    ld r12, Y+
    ld r13, Y+
    rjmp .Lcycle
.Ltake:
    take
.Lput:
    address r18, r19, r20
    movw r10, r2
    movw r12, r4
.Lcycle:
    out PORTA, r10
    out PORTB, r11
    out PORTC, r12
    out PORTD, r13
    out DDRA, r25
    lds r24, Q(ONES)
    out DDRB, r24
    lds r24, Q(ONES+1)
    out DDRC, r24
    lds r24, Q(ONES+2)
    out DDRD, r24
    control WRITE_SETUP
    pause SETTLE
    control WRITE_STROBE
    pause WRITE_PULSE
    control WRITE_SETUP
    clr r24
    nop
    out PORTG, r1
    release r24
    look
    next

.Lskip:
    take
    ld r24, Y+
    cp r2, r24
    ld r24, Y+
    cpc r3, r24
    ld r24, Y+
    cpc r4, r24
    ld r24, Y+
    cpc r5, r24
    ld r24, Y+
    breq .Lto
    next

/* On at this byte of the row. */
.Lto:
    lds r28, Q(ROW)
    lds r29, Q(ROW+1)
    add r28, r24
    brcc 1f
    inc r29
1:  next

.Lwant:
    ld r2, Y+
    ld r3, Y+
    ld r4, Y+
    ld r5, Y+
    next

.Lstep:
    ld r24, Y+
    ld r0, Y+
    clr r30
    sbrc r0, 7
    dec r30
    add r18, r24
    adc r19, r0
    adc r20, r30
    next

.Lloop:
    ld r24, Y+
    sts Q(INNER), r24
    next

.Lagain:
    lds r0, Q(INNER)
    ld r24, Y+
    dec r0
    sts Q(INNER), r0
    brne .Lto
    next

.Lwait:
    look
    rcall .Ldecode
    ld r6, Y+
    ld r7, Y+
    ld r8, Y+
    ld r9, Y+
    ld r22, Y+
    clr r23
    address r18, r19, r20
.Lpoll:
    look
    sense
    differ
    sbrc r22, 7
    rjmp .Leights
    or r10, r11
    or r12, r13
    mov r24, r10
    or r24, r12
    breq .Lagrees
    sbrc r22, 6
    rjmp .Lbusy
    tst r10
    breq 1f
    tst r12
    breq 2f
.Lbusy:
    dec r23
    breq 3f
    rjmp .Lpoll
3:  rjmp .Lleave_wait
1:  sbrc r22, 0
    rjmp .Lbusy
    rjmp .Lpart
2:  sbrc r22, 1
    rjmp .Lbusy
    rjmp .Lpart

.Leights:
    mov r24, r10
    or r24, r11
    or r24, r12
    or r24, r13
    breq .Lagrees
    .irp n, 0,1,2,3
    tst r1\n
    brne 3f
    sbrs r22, \n
    rjmp .Lpart
3:
    .endr
    rjmp .Lbusy

/* All lanes agree: and once more? */
.Lagrees:
    sense
    sts Q(D), r10
    sts Q(D+1), r11
    sts Q(D+2), r12
    sts Q(D+3), r13
    differ
    mov r24, r10
    or r24, r11
    or r24, r12
    or r24, r13
    brne .Ljudge
    sts Q(WAITED), r25
    adiw r28, 3
    next

/* Some lane agrees, others do not: which agrees twice leaves the test. */
.Lpart:
    .irp n, 10,11,12,13
    push r\n
    .endr
    sense
    differ
    .irp n, 13,12,11,10
    pop r0
    or r\n, r0
    .endr
.Ljudge:
    sbrc r22, 6
    rjmp .Lbusy
    sbrc r22, 7
    rjmp 2f
    or r10, r11
    brne 1f
    clr r6
    clr r7
    ori r22, 1
1:  or r12, r13
    brne 3f
    clr r8
    clr r9
    ori r22, 2
3:  rjmp .Lbusy
2:  .irp n, 0,1,2,3
    tst r1\n
    brne 4f
    ori r22, 1 << \n
4:
    .endr
    sbrc r22, 0
    clr r6
    sbrc r22, 1
    clr r7
    sbrc r22, 2
    clr r8
    sbrc r22, 3
    clr r9
    rjmp .Lbusy

/* The wait begins; some bytes go from FROM to TO and into the checksum, up to a zero. */
.Ldecode:
    lds r24, TCNT1L
    sts Q(SINCE), r24
    lds r24, TCNT1H
    sts Q(SINCE+1), r24
    lds r22, Q(MAY)
    tst r22
    brne 5f
    ret
5:  lds r30, Q(FROM)
    lds r31, Q(FROM+1)
    movw r10, r26
    sub r10, r30
    sbc r11, r31
    tst r11
    brne 1f /* many, or the head is beyond the ring's end */
    cp r10, r22
    brsh 1f
    mov r22, r10
1:  lds r24, Q(GULP)
    cp r22, r24
    brlo 2f
    mov r22, r24
2:  tst r22
    brne 3f
    ret
3:  movw r6, r26
    movw r8, r28
    movw r26, r30
    lds r28, Q(TO)
    lds r29, Q(TO+1)
    lds r10, Q(CRC)
    lds r11, Q(CRC+1)
    lds r12, Q(CRC+2)
    lds r13, Q(CRC+3)
    lds r23, Q(BLOCK)
    push r16
    push r17
    lds r16, Q(LEFT_OF_BLOCK)
    mov r17, r22
    decode r10, r11, r12, r13, r23, r16, r22, r24, short=1
    lds r24, Q(MAY)
    sub r24, r17
    add r24, r22
    sts Q(MAY), r24
    sts Q(LEFT_OF_BLOCK), r16
    pop r17
    pop r16
    sts Q(BLOCK), r23
    sts Q(FROM), r26
    sts Q(FROM+1), r27
    sts Q(TO), r28
    sts Q(TO+1), r29
    sts Q(CRC), r10
    sts Q(CRC+1), r11
    sts Q(CRC+2), r12
    sts Q(CRC+3), r13
    movw r26, r6
    movw r28, r8
    ret
