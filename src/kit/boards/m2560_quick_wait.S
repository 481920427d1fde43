/* Waits in a row of steps. */
#include "m2560_quick_asm.h"

    .section .text.m2560_quick, "ax", @progbits
    .global m2560_q_wait
m2560_q_wait:
    in r24, TCNT0
    sts Q(SINCE), r24
    ld r24, Y+
    sts Q(LEFT), r24
    clr r24
.Lpoll:
    sts Q(POLLS), r24
    rcall .Lsense
    breq .Lagrees
    open r30, 0
    open r31, 1
    open r24, 2
    open r0, 3
.Lbusy:
    fails r10, r6, 0, 1f
    fails r11, r7, 1, 1f
    fails r12, r8, 2, 1f
    fails r13, r9, 3, 1f
    in r24, TCNT0 /* the rail wants to be looked at */
    cpi r24, SLICE + 4
    brsh 1f
    lds r24, Q(POLLS)
    dec r24
    brne .Lpoll
1:  rcall .Ldata
    rjmp m2560_q_leave_wait

/* All lanes agree: and once more? */
.Lagrees:
    rcall .Lsense
    brne .Ljudge
    ldi r24, 1
    sts Q(WAITED), r24
    rcall .Ldata
    adiw r28, 7
    sbrs r23, 5
    rjmp 1f
    ones
1:  next

.Ldata:
    sts Q(D), r10
    sts Q(D+1), r11
    sts Q(D+2), r12
    sts Q(D+3), r13
    look
    ret

/* Some lane agrees, others do not: which agrees twice leaves the test. */
.Lpart:
    push r30
    push r31
    push r24
    push r0
    rcall .Lsense
    pop r10
    or r0, r10
    pop r10
    or r24, r10
    pop r10
    or r31, r10
    pop r10
    or r30, r10
.Ljudge:
    ori r23, 0x20
    close r30, r6, 0
    close r31, r7, 1
    close r24, r8, 2
    close r0, r9, 3
    sts Q(LEFT), r23
    rjmp .Lbusy

/* A read cycle at the address that stands there; r10 to r13 the word. In r30, r31, r24, r0 the bytes of
 * those lanes are not 0 that are not as wanted; equal if all are. */
.Lsense:
    look
    sense
    sample r10, r11, r12, r13
    sensed
    lds r23, Q(LEFT)
    movw r30, r10
    out PORTG, r1
    eor r30, r2
    eor r31, r3
    and r30, r6
    and r31, r7
    mov r24, r12
    eor r24, r4
    and r24, r8
    mov r0, r13
    eor r0, r5
    and r0, r9
    sbrc r23, 7
    rjmp 1f
    or r30, r31
    or r24, r0
    sbrc r23, 6
    or r30, r24
    sbrc r23, 6
    mov r24, r30
    mov r31, r30
    mov r0, r24
1:  tst r30
    brne 2f
    tst r31
    brne 2f
    tst r24
    brne 2f
    tst r0
2:  ret
