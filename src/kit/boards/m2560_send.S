/* Bytes into the send ring: checksum, COBS, and the sender kept at work. */
#include "m2560_asm.h"

/* CRC-32/ISO-HDLC: the table of reflected EDB88320, byte 0 of each entry, then byte 1, and so on. */
    .section .progmem.gcc_crc, "a", @progbits
    .balign 256
    .global m2560_crc
m2560_crc:
.macro entry n, shift
    .set value, \n
    .rept 8
    .if value & 1
    .set value, ((value >> 1) & 0x7FFFFFFF) ^ 0xEDB88320
    .else
    .set value, (value >> 1) & 0x7FFFFFFF
    .endif
    .endr
    .byte (value >> \shift) & 0xFF
.endm
.macro plane shift
    .set n, 0
    .rept 256
    entry n, \shift
    .set n, n + 1
    .endr
.endm
    plane 0
    plane 8
    plane 16
    plane 24

/* void m2560_send(bw_out *out, const uint8_t *from, uint8_t count)     count: not 0
 *
 * X is the head, Y the tail, r14:15 the open block, r2:3 the source, r20 the bytes left, r4 to r7 the
 * checksum, r18 the code byte so far and 1, r24:25 the context. */
    .section .text.m2560_send, "ax", @progbits
    .global m2560_send
m2560_send:
    .irp n, 2,3,4,5,6,7,14,15,28,29
    push r\n
    .endr
    ldi r19, LINE_ON
    sts UCSR0B, r19
    movw r2, r22
    movw r30, r24
    ldd r26, Z+OUT_HEAD
    ldd r27, Z+OUT_HEAD+1
    ldd r28, Z+OUT_TAIL
    ldd r29, Z+OUT_TAIL+1
    ldd r14, Z+OUT_BLOCK
    ldd r15, Z+OUT_BLOCK+1
    ldd r4, Z+OUT_CRC
    ldd r5, Z+OUT_CRC+1
    ldd r6, Z+OUT_CRC+2
    ldd r7, Z+OUT_CRC+3
    ldd r18, Z+OUT_CODE
    ldi r19, 2
    add r27, r19
    add r29, r19
    add r15, r19
    inc r18
    brne .Lbyte
    rcall .Lclose /* full, and now another byte follows */
.Lbyte:
    movw r30, r2
    ld r19, Z+
    movw r2, r30
    crc r4, r5, r6, r7, r19
    tst r19
    breq .Lzero
    st X+, r19
    sbrc r27, 2
    ldi r27, 2
    inc r18
    breq .Lfull
.Lstored:
    cp r26, r28
    cpc r27, r29
    breq .Lwait
.Lnext:
    pump r14, r15
    dec r20
    brne .Lbyte
    rjmp .Lout

/* A full block ends only where another byte follows. */
.Lfull:
    cpi r20, 1
    breq .Lstored
    cp r26, r28
    cpc r27, r29
    breq 4f
5:  rcall .Lclose
    rjmp .Lnext
4:  rcall .Lroom
    rjmp 5b
/* A zero ends the block and is not sent. */
.Lzero:
    rcall .Lclose
    rjmp .Lnext
/* The ring is full: the head has reached the tail. The open block is shorter than the ring, so there
 * is something to be sent. */
.Lwait:
    rcall .Lroom
    rjmp .Lnext
.Lroom:
    pump r14, r15
    cp r26, r28
    cpc r27, r29
    breq .Lroom
    ret

/* Gives the open block its code byte and begins the next at the head. */
.Lclose:
    movw r30, r14
    dec r18
    st Z, r18
    movw r14, r26
    ldi r18, 2
    st X+, r18
    sbrc r27, 2
    ldi r27, 2
    cp r26, r28
    cpc r27, r29
    breq .Lroom
    ret

.Lout:
    movw r30, r24
    dec r18
    ldi r19, 2
    sub r27, r19
    sub r29, r19
    sub r15, r19
    std Z+OUT_HEAD, r26
    std Z+OUT_HEAD+1, r27
    std Z+OUT_TAIL, r28
    std Z+OUT_TAIL+1, r29
    std Z+OUT_BLOCK, r14
    std Z+OUT_BLOCK+1, r15
    std Z+OUT_READY, r14
    std Z+OUT_READY+1, r15
    std Z+OUT_CRC, r4
    std Z+OUT_CRC+1, r5
    std Z+OUT_CRC+2, r6
    std Z+OUT_CRC+3, r7
    std Z+OUT_CODE, r18
    cp r28, r14
    cpc r29, r15
    breq 2f
    ldi r19, LINE_SENDS
    sts UCSR0B, r19
2:  .irp n, 29,28,15,14,7,6,5,4,3,2
    pop r\n
    .endr
    ret
