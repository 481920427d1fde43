/* The checksum of many bytes. */
#include "m2560_asm.h"

/* uint32_t m2560_crc_bytes(const uint8_t *from, uint16_t count, uint32_t state) */
    .section .progmem.gcc_near, "ax", @progbits
    .global m2560_crc_bytes
m2560_crc_bytes:
    movw r26, r24
    movw r24, r22
    movw r22, r18
    mov r0, r20
    mov r20, r21
1:  sbiw r24, 1
    brcs 2f
    ld r21, X+
    crc r22, r23, r0, r20, r21
    rjmp 1b
2:  mov r24, r0
    mov r25, r20
    ret
