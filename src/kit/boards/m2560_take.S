/* Bytes as they came, decoded. */
#include "m2560_asm.h"

/* uint16_t m2560_take(const uint8_t *from, uint8_t *to, uint8_t count, bw_coded *rx)
 *
 * Returns how many were taken, and in the high byte how many have come of it; count is not 0. */
    .section .progmem.gcc_near, "ax", @progbits
    .global m2560_take
m2560_take:
    .irp n, 2,3,4,28,29,18,19,20,22
    push r\n
    .endr
    movw r30, r18
    ldd r2, Z+0
    ldd r3, Z+1
    ldd r4, Z+2
    ldd r19, Z+3
    ldd r21, Z+4
    ldd r18, Z+5
    movw r26, r24
    movw r28, r22
    decode r2, r3, r4, r19, r21, r18, r20, r24
    pop r25
    pop r24
    pop r31
    pop r30
    std Z+0, r2
    std Z+1, r3
    std Z+2, r4
    std Z+3, r19
    std Z+4, r21
    std Z+5, r18
    sub r24, r20
    sub r28, r25
    mov r25, r28
    .irp n, 29,28,4,3,2
    pop r\n
    .endr
    ret
