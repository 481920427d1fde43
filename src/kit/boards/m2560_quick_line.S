/* The line while a row of steps is at work: bytes that come are decoded at once, or go into the receive
 * ring as they are; without an interrupt. */
#include "m2560_quick_asm.h"

    .section .text.m2560_quick, "ax", @progbits

/* Bytes that came, as many as there are. */
    .global m2560_q_byte
m2560_q_byte:
    brts 1f
    rjmp .Lraw
1:  sbrc r0, DOR0
    rcall .Llost
    lds r24, UDR0
    tst r24
    breq 4f
    subi r22, 1
    brcs 3f
2:  st X+, r24
    crc r14, r15, r16, r17, r24
5:  subi r21, 1
    breq 6f
    brcs 7f
8:  lds r0, UCSR0A
    sbrc r0, RXC0
    rjmp m2560_q_byte
    ret
6:  lds r24, Q(MAY+1)
    tst r24
    brne 8b
    rcall m2560_q_plain
    rjmp 8b
7:  lds r24, Q(MAY+1)
    dec r24
    sts Q(MAY+1), r24
    rjmp 8b
3:  rcall m2560_q_code
    brcs 5b
    rjmp 2b
4:  rcall m2560_q_plain
    clr r24
    rjmp .Lstore

/* Into the ring. If it is full they stay where they are, and the receiver will tell. */
.Lraw:
    subi r21, 1
    brcs 2f
3:  sbrc r0, DOR0
    rcall .Llost
    lds r24, UDR0
.Lstore:
    st X+, r24
    cpi r26, lo8(m2560_rx_end)
    ldi r24, hi8(m2560_rx_end)
    cpc r27, r24
    brne 1f
    ldi r26, lo8(m2560_rx)
    ldi r27, hi8(m2560_rx)
1:  lds r0, UCSR0A
    sbrc r0, RXC0
    rjmp .Lraw
    ret
2:  rcall .Lmore_room
    brcc 3b
    ret

/* The rest stands where there is room before the checksum's table: see the Makefile. */
    .section .progmem.gcc_near, "ax", @progbits
/* From now on bytes stay as they are. The first code byte of a frame keeps its place. */
    .global m2560_q_plain
m2560_q_plain:
    clt
    sts Q(TO), r26
    sts Q(TO+1), r27
    adiw r26, 1
    sts Q(FROM), r26
    sts Q(FROM+1), r27
    lds r24, Q(ROOM)
    lds r30, Q(ROOM+1)
    lds r31, Q(MAY+1)
    add r21, r24
    adc r30, r31
    sts Q(ROOM+1), r30
/* This turn is the last. */
    .global m2560_q_soon
m2560_q_soon:
    clr r24
    out LIMIT, r24
    ret

/* A code byte: a zero stands before it, but for the first of a frame and behind FF; carry: none. */
    .global m2560_q_code
m2560_q_code:
    lds r30, Q(BLOCK)
    sts Q(BLOCK), r24
    mov r22, r24
    dec r22
    dec r30
    ldi r24, 0xFD
    cp r24, r30
    ldi r24, 0
    ret

.Llost:
    lds r24, Q(LOST)
    inc r24
    sts Q(LOST), r24
    ret

/* The same while X is at what is decoded. */
    .global m2560_q_aside
m2560_q_aside:
    subi r21, 1
    brcs 2f
1:  sbrc r0, DOR0
    rcall .Llost
    movw r30, r10
    lds r24, UDR0
    st Z+, r24
    cpi r30, lo8(m2560_rx_end)
    ldi r24, hi8(m2560_rx_end)
    cpc r31, r24
    brne 3f
    ldi r30, lo8(m2560_rx)
    ldi r31, hi8(m2560_rx)
3:  movw r10, r30
    lds r0, UCSR0A
    sbrc r0, RXC0
    rjmp m2560_q_aside
    ret
2:  rcall .Lmore_room
    brcc 1b
    ret

/* The low byte of the room is through; carry: all of it is. */
.Lmore_room:
    lds r24, Q(ROOM+1)
    subi r24, 1
    brcs 1f
    sts Q(ROOM+1), r24
    ret
1:  ldi r21, 0
    ret
