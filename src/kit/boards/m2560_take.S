/* Bytes of a block of COBS out of the receive ring: moved to their place and into the checksum. */
#include "m2560_asm.h"

/* uint8_t m2560_take(const uint8_t *from, uint8_t *to, uint8_t count, uint32_t *crc)
 *
 * Ends before a zero; returns how many there were. X is `from`, Y `to`. */
    .section .progmem.gcc_take, "ax", @progbits
    .global m2560_take
m2560_take:
    push r28
    push r29
    push r18
    push r19
    push r20
    movw r30, r18
    ldd r0, Z+0
    ldd r19, Z+1
    ldd r21, Z+2
    ldd r18, Z+3
    movw r26, r24
    movw r28, r22
1:  ld r24, X+
    tst r24
    breq 2f
    st Y+, r24
    crc r0, r19, r21, r18, r24
    dec r20
    brne 1b
2:  pop r24
    sub r24, r20
    pop r31
    pop r30
    std Z+0, r0
    std Z+1, r19
    std Z+2, r21
    std Z+3, r18
    pop r29
    pop r28
    ret
