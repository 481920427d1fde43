/* Rows of steps (core/quick_ops.h), and the line meanwhile: bytes that come go into the receive ring
 * without an interrupt, and while a chip is busy they are decoded. */
#include "m2560_asm.h"
#include "../core/quick_ops.h"

/* m2560_quick_state of m2560_quick.h. */
#define Q(offset) m2560_quick + offset
#define A 0
#define D 4
#define TURNS 8
#define WAITS 9
#define WAITED 10
#define LEFT 11
#define SINCE 12
#define AT 14
#define PAYLOAD 16
#define ROW 18
#define IDLE 20
#define READ_SETUP 21
#define READ_STROBE 22
#define WRITE_SETUP 23
#define WRITE_STROBE 24
#define SETTLE 25
#define READ_PULSE 26
#define WRITE_PULSE 27
#define ONES 28
#define ROOM 32
#define LOST 34
#define FROM 35
#define TO 37
#define CRC 39
#define BLOCK 43
#define LEFT_OF_BLOCK 44
#define MAY 45
#define INNER 47
#define POLLS 48
#define REST 49
#define BODY 50

/* Two registers of timer 0 that it does not need: levels of the control lines. */
#define STROBE OCR0A
#define SENSE OCR0B
/* And one of the EEPROM: when turns end, of timer 0, which begins at 0. */
#define LIMIT EEARL
#define SLICE F_CPU / 1024 / 250

/* r2 to r5 the word taken last or wanted, r6 to r9 the lines of a word, or those that a wait looks at,
 * r14 to r17 the checksum of the frame that comes, r22 what is left of its block, r18 to r20 A, r25 the
 * control lines set up for a write, r1 in idle; Y the row.
 *
 * T: bytes are decoded as they come, X is where they go to, r21 how many may be. Else they go into the
 * ring as they are, X is its head, r21 the low byte of the room in it. */

/* On with the next step. */
.macro next
    ld r30, Y+
    ld r31, Y+
    ijmp
.endm

/* A byte that came. */
.macro look
    lds r0, UCSR0A
    sbrc r0, RXC0
    rcall .Lbyte
.endm

.macro pause loops
    lds r24, Q(\loops)
77: dec r24
    brne 77b
.endm

/* A write cycle, from where address and data stand. */
.macro cycle
    out DDRA, r6
    out DDRB, r7
    out DDRC, r8
    out DDRD, r9
    out PORTG, r25
    pause SETTLE
    in r24, STROBE
    out PORTG, r24
    pause WRITE_PULSE
    out PORTG, r25
    clr r24
    nop
    out PORTG, r1
    release r24
    look
.endm

/* A read cycle up to where the lines are looked at, and from there to its hold. */
.macro sense
    in r24, SENSE
    out PORTG, r24
    pause SETTLE
    lds r24, Q(READ_STROBE)
    out PORTG, r24
    pause READ_PULSE
.endm
.macro sensed
    in r24, SENSE
    out PORTG, r24
.endm

/* Is the higher half as wanted? Ends the read cycle. */
.macro high
    in r24, PINC
    cp r24, r4
    in r24, PIND
    cpc r24, r5
    sensed
    nop
    nop
    out PORTG, r1
.endm

/* The next payload word of 32 lines. */
.macro take a, b, c, d
    lds r30, Q(PAYLOAD)
    lds r31, Q(PAYLOAD+1)
    ld \a, Z+
    ld \b, Z+
    ld \c, Z+
    ld \d, Z+
    sts Q(PAYLOAD), r30
    sts Q(PAYLOAD+1), r31
.endm

/* Does this byte of the word agree, and is its lane in the test? */
.macro open byte, n
    tst \byte
    brne 78f
    sbrs r23, \n
    rjmp .Lpart
78:
.endm

/* It leaves the test if it has agreed twice. */
.macro close byte, mask, n
    tst \byte
    brne 79f
    clr \mask
    ori r23, 1 << \n
79:
.endm

.macro ones
    lds r6, Q(ONES)
    lds r7, Q(ONES+1)
    lds r8, Q(ONES+2)
    lds r9, Q(ONES+3)
.endm

    .section .bss.m2560_quick, "aw", @nobits
    .global m2560_quick
m2560_quick:
    .space 52

    .section .progmem.m2560_quick, "a", @progbits
    .global m2560_quick_steps
    .balign 2
m2560_quick_steps:
    .word pm(.Lwrite), pm(.Lvalue), pm(.Ltake), pm(.Lskip), pm(.Lput), pm(.Lwant), pm(.Lbits)
    .word pm(.Lwait), pm(.Lstep), pm(.Lloop), pm(.Lagain), pm(.Lend), pm(.Laddress)
    .word pm(.Lword), pm(.Llast)

    .section .text.m2560_quick, "ax", @progbits
/* void m2560_quick_run(void) */
    .global m2560_quick_run
m2560_quick_run:
    .irp n, 2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,28,29
    push r\n
    .endr
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
    lds r0, UCSR0A
    sbrc r0, RXC0
    rcall .Laside
6:  subi r23, 1
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
3:  rcall .Lcode
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
    rcall .Lsoon
    movw r26, r10
8:  movw r28, r12
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

.Lleave_wait:
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
    rcall .Lplain
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
    .irp n, 29,28,17,16,15,14,13,12,11,10,9,8,7,6,5,4,3,2
    pop r\n
    .endr
    ret

/* Bytes that came, as many as there are. */
.Lbyte:
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
    rjmp .Lbyte
    ret
6:  lds r24, Q(MAY+1)
    tst r24
    brne 8b
    rjmp .Lplain
7:  lds r24, Q(MAY+1)
    dec r24
    sts Q(MAY+1), r24
    rjmp 8b
3:  rcall .Lcode
    brcs 5b
    rjmp 2b
4:  rcall .Lplain
    clr r24
    rjmp .Lstore

/* From now on bytes stay as they are. The first code byte of a frame keeps its place. */
.Lplain:
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
.Lsoon:
    clr r24
    out LIMIT, r24
    ret

/* A code byte: a zero stands before it, but for the first of a frame and behind FF; carry: none. */
.Lcode:
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

/* The same while X is at what is decoded. */
.Laside:
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

/* The next payload word. */
.Lnext_word:
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
.Ltaken:
    address r18, r19, r20
    mov r24, r2
    and r24, r3
    and r24, r4
    and r24, r5
    com r24
    breq 1f
    next
1:  sts Q(TURNS), r23
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
    dec r23
    breq 4f
    movw r2, r10
    movw r4, r12
    lds r28, Q(BODY)
    lds r29, Q(BODY+1)
    rjmp .Ltaken
7:  rjmp 2b
3:  subi r18, 1
    sbci r19, 0
    sbci r20, 0
    rcall .Lback
    next
4:  sts Q(D), r2
    sts Q(D+1), r3
    sts Q(D+2), r4
    sts Q(D+3), r5
    rcall .Lback
    rjmp .Lleave

/* The payload word that was taken beforehand. */
.Lback:
    sts Q(TURNS), r23
    lds r30, Q(PAYLOAD)
    lds r31, Q(PAYLOAD+1)
    sbiw r30, 4
    sts Q(PAYLOAD), r30
    sts Q(PAYLOAD+1), r31
    ret

.Lwait:
    in r24, TCNT0
    sts Q(SINCE), r24
    ld r24, Y+
    sts Q(LEFT), r24
    clr r24
.Lpoll:
    sts Q(POLLS), r24
    look
    rcall .Lsense
    breq .Lagrees
    open r30, 0
    open r31, 1
    open r24, 2
    open r0, 3
.Lbusy:
    lds r24, Q(POLLS)
    dec r24
    brne .Lpoll
    rcall .Ldata
    rjmp .Lleave_wait

/* All lanes agree: and once more? */
.Lagrees:
    rcall .Lsense
    brne .Ljudge
    ldi r24, 1
    sts Q(WAITED), r24
    rcall .Ldata
    adiw r28, 3
    sbrs r23, 5
    rjmp 1f
    ones
1:  next

.Ldata:
    sts Q(D), r10
    sts Q(D+1), r11
    sts Q(D+2), r12
    sts Q(D+3), r13
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
