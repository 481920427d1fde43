/* Words read in a row, and the sender kept at work meanwhile. */
#include "m2560_asm.h"

/* uint16_t m2560_read(bd_burst *b, uint8_t *to, uint8_t count, uint8_t mode, bw_out *out)
 *
 * Returns how many were read, and in the high byte 1 if it ended because of what it read.
 *
 * r2 to r5 the word, r6 to r9 the one before, r10 to r12 the control lines in idle, set-up and
 * strobe, r13 the level of a charge, r14:15 where sending ends, r16 the words left, r17 the mode,
 * r18 to r20 the address, r21 to r23 the step, r25 all ones, r30 and r31 the waits, X the place, Y the
 * tail, T that the words are not charged to zeros. */
    .section .text.m2560_read, "ax", @progbits
    .global m2560_read
m2560_read:
    keep_all
    push r16
    push r17
    push r24
    push r25
    push r20
    mov r0, r18
    movw r2, r16
    mov r17, r0
    mov r16, r20
    movw r26, r22
    sbiw r26, 4
    ld r6, X+
    ld r7, X+
    ld r8, X+
    ld r9, X+
    movw r30, r24
    ldd r18, Z+BURST_ADDRESS
    ldd r19, Z+BURST_ADDRESS+1
    ldd r20, Z+BURST_ADDRESS+2
    ldd r21, Z+BURST_STEP
    ldd r22, Z+BURST_STEP+1
    ldd r23, Z+BURST_STEP+2
    ldd r10, Z+BURST_IDLE
    ldd r11, Z+BURST_SETUP
    ldd r12, Z+BURST_STROBE
    ldd r13, Z+BURST_LEVEL
    ldd r4, Z+BURST_SETTLE
    ldd r5, Z+BURST_PULSE
    ldd r24, Z+BURST_PORT
    movw r30, r2
    sbrc r17, RUN
    rjmp 1f
    ldi r25, LINE_ON
    sts UCSR0B, r25
1:  ldd r28, Z+OUT_TAIL
    ldd r29, Z+OUT_TAIL+1
    ldd r14, Z+OUT_READY
    ldd r15, Z+OUT_READY+1
    movw r30, r4
    ldi r25, 0xFF
    sbrc r17, NARROW
    rjmp .Lnarrow
    set
    sbrc r17, CHARGED
    bst r13, 0
    sbrc r17, SHORT
    rjmp .Lstretch
    rjmp .Lword
/* Not to be charged, or to ones. */
.Lother:
    sbrs r17, CHARGED
    rjmp .Lcharged
    drive r13, r13, r13, r13, r25
    loops r30, r24
    release
    rjmp .Lcharged
.Lword:
    address r18, r19, r20
    brts .Lother
    directions r25
    loops r30, r24
    directions r1
.Lcharged:
    out PORTG, r11
    add r18, r21
    adc r19, r22
    adc r20, r23
    loops r30, r24
    out PORTG, r12
    loops r31, r24
    sample r2, r3, r4, r5
    out PORTG, r11
    st X+, r2
    st X+, r3
    cp r2, r6
    out PORTG, r10
    st X+, r4
    st X+, r5
    breq .Llike
2:  movw r6, r2
    movw r8, r4
    sbrc r17, WHILE_EQUAL
    rjmp .Lended
3:  pump r14, r15
    dec r16
    breq .Lall
    rjmp .Lword
.Lall:
    ldi r25, 0
    rjmp .Lout
.Llike:
    cpc r3, r7
    cpc r4, r8
    cpc r5, r9
    brne 2b
    sbrc r17, WHILE_EQUAL
    sbiw r26, 4
    sbrs r17, TO_EQUAL
    rjmp 3b
    rjmp .Lended
/* Upwards, with zeros charged and short times. From here on r21 words up to where the low byte of the
 * address turns over, r16 behind them. */
.Lstretch:
    sts PORTK, r19
    sts PORTH, r20
    mov r21, r16
    mov r22, r18
    neg r22
    breq 1f
    cp r22, r21
    brsh 1f
    mov r21, r22
1:  sub r16, r21
    sbrc r17, RUN
    rjmp .Lrun
.macro short_cycle
    sts PORTL, r18
    directions r25
    directions r1
    out PORTG, r11
    mov r24, r31
    out PORTG, r12
    inc r18
8:  dec r24
    brne 8b
    sample r2, r3, r4, r5
    out PORTG, r11
    cp r2, r6
.endm
/* Up to two words that are equal. */
.Lshort:
    short_cycle
    st X+, r2
    st X+, r3
    out PORTG, r10
    st X+, r4
    st X+, r5
    breq 7f
6:  movw r6, r2
    movw r8, r4
    pump r14, r15
    dec r21
    brne .Lshort
.Lturned:
    rcall .Lcarry
    tst r16
    brne .Lstretch
    rjmp .Lall
7:  cpc r3, r7
    cpc r4, r8
    cpc r5, r9
    brne 6b
.Lfound:
    rcall .Lcarry
    add r16, r21
    rjmp .Lended
/* As long as words are equal, two at a time; the sender has its interrupt. */
.macro same
    cpc r3, r7
    cpc r4, r8
    cpc r5, r9
    out PORTG, r10
.endm
.Lrun:
    sbrs r21, 0
    rjmp .Ltwo
    inc r21
    rjmp .Lsecond
.Ltwo:
    short_cycle
    same
    brne 6f
.Lsecond:
    short_cycle
    same
    brne 7f
    subi r21, 2
    brne .Ltwo
    rjmp .Lturned
7:  dec r21
6:  st X+, r2
    st X+, r3
    st X+, r4
    st X+, r5
    rjmp .Lfound
.Lcarry:
    tst r18
    brne 1f
    inc r19
    brne 1f
    inc r20
1:  ret
.Lended:
    dec r16
    ldi r25, 1
.Lout:
    pop r24
    sub r24, r16
    pop r31
    pop r30
    movw r2, r30
    pop r31
    pop r30
    sbrc r17, RUN
    rjmp 4f
    std Z+OUT_TAIL, r28
    std Z+OUT_TAIL+1, r29
    cp r28, r14
    cpc r29, r15
    breq 4f
    sends r21
4:  movw r30, r2
    std Z+BURST_ADDRESS, r18
    std Z+BURST_ADDRESS+1, r19
    std Z+BURST_ADDRESS+2, r20
    std Z+BURST_FOUND, r4
    std Z+BURST_FOUND+1, r5
    std Z+BURST_FOUND+2, r14
    std Z+BURST_FOUND+3, r15
    return_all

/* Words of one byte or two; the sender has its interrupt. From here on Y is the port, r8:9 the word
 * before, r4:5 the AND, r14:15 the OR. */
.Lnarrow:
    sbrs r17, PAIR
    mov r8, r9
    mov r28, r24
    ldi r29, 0
    mov r4, r25
    mov r5, r25
    clr r14
    clr r15
1:  address r18, r19, r20
    sbrs r17, CHARGED
    rjmp 3f
    std Y+PORT_OF, r13
    std Y+DDR_OF, r25
    sbrs r17, PAIR
    rjmp 2f
    std Y+BEHIND+PORT_OF, r13
    std Y+BEHIND+DDR_OF, r25
2:  loops r30, r24
    std Y+DDR_OF, r1
    std Y+PORT_OF, r1
    sbrs r17, PAIR
    rjmp 3f
    std Y+BEHIND+DDR_OF, r1
    std Y+BEHIND+PORT_OF, r1
3:  out PORTG, r11
    add r18, r21
    adc r19, r22
    adc r20, r23
    loops r30, r24
    out PORTG, r12
    loops r31, r24
    ldd r2, Y+PIN_OF
    ldd r3, Y+BEHIND+PIN_OF
    out PORTG, r11
    and r4, r2
    and r5, r3
    or r14, r2
    or r15, r3
    out PORTG, r10
    st X+, r2
    sbrc r17, PAIR
    st X+, r3
    cp r2, r8
    sbrc r17, PAIR
    cpc r3, r9
    breq 5f
    movw r8, r2
    sbrc r17, WHILE_EQUAL
    rjmp .Lended
4:  dec r16
    brne 1b
    rjmp .Lall
5:  sbrs r17, WHILE_EQUAL
    rjmp 6f
    sbiw r26, 1
    sbrc r17, PAIR
    sbiw r26, 1
6:  sbrs r17, TO_EQUAL
    rjmp 4b
    rjmp .Lended
