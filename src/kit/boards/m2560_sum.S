/* Words of 32 bits into checksum, AND and OR: the checksum of each is reckoned while the module
 * finds the next. */
#include "m2560_asm.h"

/* void m2560_sum(bd_burst *b, bw_sum *sum, uint8_t count, uint8_t mode, uint8_t *last)
 *
 * `last` is the word read before, whose checksum is still to come; the last of these takes its place.
 *
 * r2 to r5 the word, r30, r6 to r8 the checksum, r9 a place that it turns through, r10 to r13 the AND, r14 to r17 the OR, r18 to r20 the
 * address, r21 to r23 the step, r24 to r27 the control lines in idle, set-up and strobe and the words
 * left, r28 the mode, r29 the level of a charge, r1 all ones. */
    .section .text.m2560_sum, "ax", @progbits
    .global m2560_sum
m2560_sum:
    keep_all
    .irp n, 16,17,22,23,24,25
    push r\n
    .endr
    movw r30, r16
    ldd r2, Z+0
    ldd r3, Z+1
    ldd r4, Z+2
    ldd r5, Z+3
    mov r28, r18
    mov r27, r20
    movw r30, r22
    ldd r9, Z+0
    ldd r6, Z+1
    ldd r7, Z+2
    ldd r8, Z+3
    ldd r10, Z+4
    ldd r11, Z+5
    ldd r12, Z+6
    ldd r13, Z+7
    ldd r14, Z+8
    ldd r15, Z+9
    ldd r16, Z+10
    ldd r17, Z+11
    movw r30, r24
    ldd r18, Z+BURST_ADDRESS
    ldd r19, Z+BURST_ADDRESS+1
    ldd r20, Z+BURST_ADDRESS+2
    ldd r21, Z+BURST_STEP
    ldd r22, Z+BURST_STEP+1
    ldd r23, Z+BURST_STEP+2
    ldd r24, Z+BURST_IDLE
    ldd r25, Z+BURST_SETUP
    ldd r26, Z+BURST_STROBE
    ldd r29, Z+BURST_LEVEL
    ldi r31, 0xFF
    mov r1, r31
    mov r30, r9
.Lword:
    address r18, r19, r20
    sbrs r28, CHARGED
    rjmp 1f
    drive r29, r29, r29, r29, r1
1:  turn r6, r7, r8, r9, r2
    sbrs r28, CHARGED
    rjmp 2f
    clr r0
    release r0
2:  out PORTG, r25
    turn r7, r8, r9, r6, r3
    out PORTG, r26
    turn r8, r9, r6, r7, r4
    turn r9, r6, r7, r8, r5
    add r18, r21
    adc r19, r22
    adc r20, r23
    sample r2, r3, r4, r5
    out PORTG, r25
    and r10, r2
    and r11, r3
    and r12, r4
    and r13, r5
    or r14, r2
    or r15, r3
    or r16, r4
    or r17, r5
    out PORTG, r24
    dec r27
    breq 3f
    rjmp .Lword
3:  mov r0, r30
    clr r1
    pop r31
    pop r30
    std Z+BURST_ADDRESS, r18
    std Z+BURST_ADDRESS+1, r19
    std Z+BURST_ADDRESS+2, r20
    pop r31
    pop r30
    std Z+0, r0
    std Z+1, r6
    std Z+2, r7
    std Z+3, r8
    std Z+4, r10
    std Z+5, r11
    std Z+6, r12
    std Z+7, r13
    std Z+8, r14
    std Z+9, r15
    std Z+10, r16
    std Z+11, r17
    pop r31
    pop r30
    std Z+0, r2
    std Z+1, r3
    std Z+2, r4
    std Z+3, r5
    return_all
