/* Rows of steps (core/quick_ops.h). */
#include "m2560_quick_asm.h"

    .section .bss.m2560_quick, "aw", @nobits
    .global m2560_quick
m2560_quick:
    .space 52

    .section .progmem.gcc_near, "ax", @progbits
    .global m2560_quick_steps
    .balign 2
m2560_quick_steps:
    .word pm(.Lwrite), pm(.Lvalue), pm(.Ltake), pm(.Lskip), pm(.Lput), pm(.Lwant), pm(.Lbits)
    .word pm(m2560_q_wait), pm(.Lstep), pm(.Lloop), pm(.Lagain), pm(.Lend), pm(.Laddress)
    .word pm(.Lword), pm(.Llast)

    .section .text.m2560_quick, "ax", @progbits
/* void m2560_quick_run(void) */
    .global m2560_quick_run
m2560_quick_run:
    keep_all
    lds r14, Q(CRC)
    lds r15, Q(CRC+1)
    lds r16, Q(CRC+2)
    lds r17, Q(CRC+3)
    lds r22, Q(LEFT_OF_BLOCK)
    lds r18, Q(A)
    lds r19, Q(A+1)
    lds r20, Q(A+2)
    lds r1, Q(IDLE)
    lds r25, Q(WRITE_SETUP)
    lds r24, Q(WRITE_STROBE)
    out STROBE, r24
    lds r24, Q(READ_SETUP)
    out SENSE, r24
    ones
    lds r12, Q(AT)
    lds r13, Q(AT+1)
    lds r21, Q(ROOM)
    clr r24
    out TCNT0, r24
    ldi r24, SLICE
    out LIMIT, r24
    clt
    cli
    lds r24, UCSR0B
    andi r24, 0xFF ^ 1 << RXCIE0
    sts UCSR0B, r24
    lds r26, m2560_head
    lds r27, m2560_head+1
    sei
    subi r26, lo8(-(m2560_rx))
    sbci r27, hi8(-(m2560_rx))
    movw r10, r26
    lds r26, Q(FROM)
    lds r27, Q(FROM+1)
    lds r28, Q(TO)
    lds r29, Q(TO+1)
    lds r23, Q(MAY)
    lds r24, Q(MAY+1)
    or r24, r23
    breq 7f
    /* What has come is decoded first, from X to Y; r10, r11 the head. */
1:  cp r26, r10
    cpc r27, r11
    breq 5f
    ld r24, X+
    tst r24
    breq 4f
    subi r22, 1
    brcs 3f
2:  st Y+, r24
    crc r14, r15, r16, r17, r24
6:  lds r0, UCSR0A
    sbrc r0, RXC0
    rcall m2560_q_aside
    subi r23, 1
    breq 9f
    brcc 1b
    lds r24, Q(MAY+1)
    dec r24
    sts Q(MAY+1), r24
    rjmp 1b
9:  lds r24, Q(MAY+1)
    tst r24
    brne 1b
    rjmp 7f
3:  rcall m2560_q_code
    brcs 6b
    rjmp 2b
5:  movw r26, r28
    lds r24, Q(ROOM+1)
    lds r0, Q(MAY+1)
    sub r21, r23
    sbc r24, r0
    sts Q(ROOM), r21
    sts Q(ROOM+1), r24
    mov r21, r23
    set
    rjmp 8f
4:  sbiw r26, 1
7:  sts Q(FROM), r26
    sts Q(FROM+1), r27
    sts Q(TO), r28
    sts Q(TO+1), r29
    rcall m2560_q_soon
    movw r26, r10
8:  movw r28, r12
    look
    next

.Lend:
    lds r24, Q(TURNS)
    dec r24
    sts Q(TURNS), r24
    breq .Lleave
    in r24, TCNT0
    in r0, LIMIT
    cp r24, r0
    brsh .Lleave
    lds r28, Q(ROW)
    lds r29, Q(ROW+1)
    next

    .global m2560_q_leave_wait
m2560_q_leave_wait:
    ldi r24, 1
    sts Q(WAITS), r24
    sts Q(AT), r28
    sts Q(AT+1), r29
.Lleave:
    lds r24, Q(TURNS)
    lds r0, Q(REST)
    add r24, r0
    sts Q(TURNS), r24
    look
    brtc 1f
    rcall m2560_q_plain
1:  clr r1
    sts Q(CRC), r14
    sts Q(CRC+1), r15
    sts Q(CRC+2), r16
    sts Q(CRC+3), r17
    sts Q(LEFT_OF_BLOCK), r22
    sts Q(A), r18
    sts Q(A+1), r19
    sts Q(A+2), r20
    subi r26, lo8(m2560_rx)
    sbci r27, hi8(m2560_rx)
    cli
    sts m2560_head, r26
    sts m2560_head+1, r27
    lds r24, UCSR0B
    ori r24, 1 << RXCIE0
    sts UCSR0B, r24
    sei
    return_all

/* The next payload word. A look: from a step before it to the write behind it a byte would wait too long
 * at 80 periods a byte, if an interrupt comes between. */
.Lnext_word:
    look
    lds r24, Q(ONES+3)
    tst r24
    breq 1f
    take r2, r3, r4, r5
    ret
1:  lds r30, Q(PAYLOAD)
    lds r31, Q(PAYLOAD+1)
    clr r4
    clr r5
    clr r3
    ld r2, Z+
    sbrc r7, 0
    ld r3, Z+
    sts Q(PAYLOAD), r30
    sts Q(PAYLOAD+1), r31
    ret

.Laddress:
    address r18, r19, r20
    next

.Lwrite:
    ld r24, Y+
    sts PORTL, r24
    ld r24, Y+
    sts PORTK, r24
    ld r24, Y+
    sts PORTH, r24
.Lvalue:
    ld r24, Y+
    out PORTA, r24
    ld r24, Y+
    out PORTB, r24
    ld r24, Y+
    out PORTC, r24
    ld r24, Y+
    out PORTD, r24
.Lcycle:
    cycle
    next

.Ltake:
    rcall .Lnext_word
.Lput:
    out PORTA, r2
    out PORTB, r3
    out PORTC, r4
    out PORTD, r5
    rjmp .Lcycle

.Lskip:
    address r18, r19, r20
    rcall .Lnext_word
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

/* A word of 32 lines that is passed over if it is blank, as SKIP; and the end of its turn: PUT, a WAIT
 * in lanes of 16, STEP by 1 and END at once, if nothing is unusual. Else the next step is that WAIT. */
.Lword:
    lds r23, Q(TURNS)
    take r2, r3, r4, r5
    adiw r28, 5
    address r18, r19, r20
    mov r24, r2
    and r24, r3
    and r24, r4
    and r24, r5
    com r24
    breq .Lblank
    next
.Lblank:
    sts Q(TURNS), r23
    sbiw r28, 1
    ld r24, Y+

/* On at this byte of the row. */
.Lto:
    lds r28, Q(ROW)
    lds r29, Q(ROW+1)
    add r28, r24
    brcc 1f
    inc r29
1:  next

.Lwant:
    look
    ld r2, Y+
    ld r3, Y+
    ld r4, Y+
    ld r5, Y+
    next

.Lbits:
    ld r6, Y+
    ld r7, Y+
    ld r8, Y+
    ld r9, Y+
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
    look
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

.Llast:
    out PORTA, r2
    out PORTB, r3
    out PORTC, r4
    out PORTD, r5
    cycle
    take r10, r11, r12, r13
    subi r18, 0xFF
    sbci r19, 0xFF
    sbci r20, 0xFF
    ldi r24, 8
    sts Q(POLLS), r24
    sts Q(WAITED), r24
    rjmp 1f
6:  rjmp 3f
2:  high
    breq 6b
    lds r24, Q(POLLS)
    dec r24
    breq 6b
    sts Q(POLLS), r24
    in r24, TCNT0
    in r0, LIMIT
    cp r24, r0
    brlo 1f
    lds r24, Q(REST) /* this turn is the last */
    add r24, r23
    dec r24
    sts Q(REST), r24
    ldi r23, 1
1:  look
    sense
    in r24, PINA
    cp r24, r2
    in r24, PINB
    cpc r24, r3
    brne 2b
    high
    brne 6b
    sense
    in r24, PINA
    cp r24, r2
    in r24, PINB
    cpc r24, r3
    brne 7f
    high
    brne 3f
    look
    dec r23
    breq 4f
    lds r28, Q(BODY)
    lds r29, Q(BODY+1)
    mov r24, r10
    and r24, r11
    and r24, r12
    and r24, r13
    com r24
    breq 5f
    movw r2, r10
    movw r4, r12
    address r18, r19, r20
    next
5:  rcall .Lread /* blank: nothing is read any more in its turn */
    address r18, r19, r20
    rjmp .Lblank
7:  rjmp 2b
3:  subi r18, 1
    sbci r19, 0
    sbci r20, 0
    rcall .Lback
    next
4:  rcall .Lread
    rcall .Lback
    rjmp .Lleave

/* What the last wait has read: the word that it wanted. */
.Lread:
    sts Q(D), r2
    sts Q(D+1), r3
    sts Q(D+2), r4
    sts Q(D+3), r5
    ret

/* The payload word that was taken beforehand. */
.Lback:
    sts Q(TURNS), r23
    lds r30, Q(PAYLOAD)
    lds r31, Q(PAYLOAD+1)
    sbiw r30, 4
    sts Q(PAYLOAD), r30
    sts Q(PAYLOAD+1), r31
    ret
