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

/* The block grows by words of four bytes, as many as need no second look at its end, at the ring's and
 * at the tail; what a zero or an end is near to, byte by byte. The code byte is the distance of head
 * and block.
 *
 * void m2560_send(bw_out *out, const uint8_t *from, uint8_t count)     count: not 0
 *
 * X is the head, Y the tail, r2:3 the open block, r4 to r7 the checksum, r18:19 the source, r20 the
 * bytes left, r21 how many are left after the words, r22 to r25 a word. */
    .section .text.m2560_send, "ax", @progbits
    .global m2560_send
m2560_send:
    .irp n, 2,3,4,5,6,7,28,29,24,25
    push r\n
    .endr
    movw r18, r22
    movw r30, r24
    ldd r26, Z+OUT_HEAD
    ldd r27, Z+OUT_HEAD+1
    ldd r2, Z+OUT_BLOCK
    ldd r3, Z+OUT_BLOCK+1
    ldd r4, Z+OUT_CRC
    ldd r5, Z+OUT_CRC+1
    ldd r6, Z+OUT_CRC+2
    ldd r7, Z+OUT_CRC+3
    ldi r21, LINE_ON
    sts UCSR0B, r21
    ldd r28, Z+OUT_TAIL
    ldd r29, Z+OUT_TAIL+1

.Lplan:
    mov r21, r20
    mov r22, r26 /* room in the block */
    sub r22, r2
    com r22
    cp r22, r21
    brsh 1f
    mov r21, r22
1:  sbrs r27, 0 /* to the end of the ring; in the first page it is further than that of a block */
    rjmp 2f
    mov r22, r26
    com r22
    cp r22, r21
    brsh 2f
    mov r21, r22
2:  movw r22, r28 /* to the tail, which the head must not reach */
    sub r22, r26
    sbc r23, r27
    sbrc r23, 0
    rjmp 3f
    cpi r22, 6
    brsh 4f
    pump r2, r3 /* full; the open block is shorter than the ring, so there is something to be sent */
    rjmp .Lplan
4:  dec r22
    cp r22, r21
    brsh 3f
    mov r21, r22
3:  andi r21, 0xFC
    breq .Lzero
    neg r21
    add r21, r20
    rjmp .Lword
.Lzero:
    rjmp .Lbyte
.Lword:
    movw r30, r18
    ld r22, Z+
    ld r23, Z+
    ld r24, Z+
    ld r25, Z+
    pump r2, r3
    .irp n, 22,23,24,25
    tst r\n
    breq .Lzero
    .endr
    movw r18, r30
    st X+, r22
    st X+, r23
    st X+, r24
    st X+, r25
    mov r30, r4
    turn r5, r6, r7, r4, r22
    pump r2, r3
    turn r6, r7, r4, r5, r23
    turn r7, r4, r5, r6, r24
    pump r2, r3
    turn r4, r5, r6, r7, r25
    mov r4, r30
    subi r20, 4
    cp r20, r21
    breq 4f
    rjmp .Lword
4:  tst r20
    breq .Lout
    rjmp .Lplan

/* Four bytes, or what is left; there is room for them. A block that is almost full goes on byte by
 * byte: it ends only where one more follows. A zero ends the block and is not sent. */
.Lbyte:
    ldi r24, 4
    mov r21, r26
    sub r21, r2
    cpi r21, 251
    brlo 1f
    ldi r24, 1
    inc r21
    brne 1f
    rcall .Lclose
1:  movw r30, r18
    ld r22, Z+
    movw r18, r30
    crc r4, r5, r6, r7, r22
    tst r22
    brne 2f
    rcall .Lclose
    rjmp 3f
2:  st X+, r22
    sbrc r27, 2
    ldi r27, 2
3:  pump r2, r3
    dec r20
    breq .Lout
    dec r24
    brne 1b
    rjmp .Lplan

/* Gives the open block its code byte and begins the next at the head. */
.Lclose:
    movw r30, r2
    mov r21, r26
    sub r21, r2
    st Z, r21
    movw r2, r26
    adiw r26, 1
    sbrc r27, 2
    ldi r27, 2
    ret

.Lout:
    pop r31
    pop r30
    std Z+OUT_TAIL, r28
    std Z+OUT_TAIL+1, r29
    std Z+OUT_READY, r2
    std Z+OUT_READY+1, r3
    cp r28, r2
    cpc r29, r3
    breq 2f
    sends r22
2:  std Z+OUT_BLOCK, r2
    std Z+OUT_BLOCK+1, r3
    std Z+OUT_HEAD, r26
    std Z+OUT_HEAD+1, r27
    sub r26, r2
    std Z+OUT_CODE, r26
    std Z+OUT_CRC, r4
    std Z+OUT_CRC+1, r5
    std Z+OUT_CRC+2, r6
    std Z+OUT_CRC+3, r7
    .irp n, 29,28,7,6,5,4,3,2
    pop r\n
    .endr
    ret
