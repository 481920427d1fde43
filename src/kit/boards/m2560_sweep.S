/* A march element. */
#include "m2560_asm.h"

/* bd_sweep of m2560_bursts.h. */
#define SWEEP_ADDRESS 0
#define SWEEP_STEP 3
#define SWEEP_IDLE 5
#define SWEEP_READ_SETUP 6
#define SWEEP_READ 7
#define SWEEP_WRITE_SETUP 8
#define SWEEP_WRITE 9
#define SWEEP_SETTLE 10
#define SWEEP_READ_PULSE 11
#define SWEEP_WRITE_PULSE 12
#define SWEEP_WRITES 13
#define SWEEP_TURNS 14
#define SWEEP_OPERATIONS 15
#define SWEEP_CHARGED 16
#define SWEEP_VALUE 17
#define SWEEP_GOT 21
#define SWEEP_PORT 25
#define SWEEP_PAIR 26

/* uint16_t m2560_sweep(bd_sweep *s, uint8_t count)
 *
 * Returns how many addresses are done, and in the high byte how many operations of the next were left
 * when a read gave something else, that one included; 0 if none did. The address stays at it.
 *
 * r2 to r5 the value, r6 to r9 its inverse, r10 to r13 the word read, r14 and r15 the control lines
 * in set-up and strobe of a read, r30 and r31 of a write, r26 in idle; r16 and r17 which operations
 * write and before which the value turns into its inverse, r23 how many are left; r18 to r20 the
 * address, r21 and r22 the step, r27 the wait of the set-up, r25 all ones, r0 the addresses left, Y
 * the sweep, T that reads are charged. */
    .section .text.m2560_sweep, "ax", @progbits
    .global m2560_sweep
m2560_sweep:
    keep_all
    push r22
    mov r0, r22
    movw r28, r24
    ldd r18, Y+SWEEP_ADDRESS
    ldd r19, Y+SWEEP_ADDRESS+1
    ldd r20, Y+SWEEP_ADDRESS+2
    ldd r21, Y+SWEEP_STEP
    ldd r22, Y+SWEEP_STEP+1
    ldd r26, Y+SWEEP_IDLE
    ldd r14, Y+SWEEP_READ_SETUP
    ldd r15, Y+SWEEP_READ
    ldd r30, Y+SWEEP_WRITE_SETUP
    ldd r31, Y+SWEEP_WRITE
    ldd r27, Y+SWEEP_SETTLE
    ldd r24, Y+SWEEP_CHARGED
    bst r24, 0
    ldd r2, Y+SWEEP_VALUE
    ldd r3, Y+SWEEP_VALUE+1
    ldd r4, Y+SWEEP_VALUE+2
    ldd r5, Y+SWEEP_VALUE+3
    movw r6, r2
    movw r8, r4
    com r6
    com r7
    com r8
    com r9
    ldi r25, 0xFF
    ldd r24, Y+SWEEP_PORT
    cpse r24, r1
    rjmp .Lnarrow
.Laddress:
    address r18, r19, r20
    ldd r16, Y+SWEEP_WRITES
    ldd r17, Y+SWEEP_TURNS
    ldd r23, Y+SWEEP_OPERATIONS
.Loperation:
    lsr r17
    brcc 1f
    .irp n, 2,3,4,5,6,7,8,9
    com r\n
    .endr
1:  lsr r16
    brcc .Lread
    drive r2, r3, r4, r5, r25
    out PORTG, r30
    loops r27, r24
    out PORTG, r31
    ldd r24, Y+SWEEP_WRITE_PULSE
2:  dec r24
    brne 2b
    out PORTG, r30
    nop
    out PORTG, r26
    release
    rjmp .Ldone
.Lread:
    brtc 3f
    drive r6, r7, r8, r9, r25
    loops r27, r24
    release
3:  out PORTG, r14
    loops r27, r24
    out PORTG, r15
    ldd r24, Y+SWEEP_READ_PULSE
4:  dec r24
    brne 4b
    sample r10, r11, r12, r13
    out PORTG, r14
    cp r10, r2
    cpc r11, r3
    cpc r12, r4
    cpc r13, r5
    out PORTG, r26
    brne .Lout
.Ldone:
    dec r23
    breq 5f
    rjmp .Loperation
5:  add r18, r21
    adc r19, r22
    adc r20, r22
    dec r0
    breq .Lout
    rjmp .Laddress
.Lout:
    std Y+SWEEP_ADDRESS, r18
    std Y+SWEEP_ADDRESS+1, r19
    std Y+SWEEP_ADDRESS+2, r20
    std Y+SWEEP_GOT, r10
    std Y+SWEEP_GOT+1, r11
    std Y+SWEEP_GOT+2, r12
    std Y+SWEEP_GOT+3, r13
    pop r24
    sub r24, r0
    mov r25, r23
    return_all

/* Words of one byte or two. From here on Z is the port, r4 and r5 the control lines of a write, bit 0 of
 * r9 that it is two, r12:13 what is driven. */
.Lnarrow:
    movw r4, r30
    mov r30, r24
    ldi r31, 0
    ldd r9, Y+SWEEP_PAIR
1:  address r18, r19, r20
    ldd r16, Y+SWEEP_WRITES
    ldd r17, Y+SWEEP_TURNS
    ldd r23, Y+SWEEP_OPERATIONS
2:  lsr r17
    brcc 3f
    .irp n, 2,3,6,7
    com r\n
    .endr
3:  lsr r16
    brcc 5f
    movw r12, r2
    rcall .Ldrive
    out PORTG, r4
    loops r27, r24
    out PORTG, r5
    ldd r24, Y+SWEEP_WRITE_PULSE
4:  dec r24
    brne 4b
    out PORTG, r4
    nop
    out PORTG, r26
    rcall .Lrelease
    rjmp 8f
5:  brtc 6f
    movw r12, r6
    rcall .Ldrive
    loops r27, r24
    rcall .Lrelease
6:  out PORTG, r14
    loops r27, r24
    out PORTG, r15
    ldd r24, Y+SWEEP_READ_PULSE
7:  dec r24
    brne 7b
    ldd r10, Z+PIN_OF
    ldd r11, Z+BEHIND+PIN_OF
    out PORTG, r14
    cp r10, r2
    sbrc r9, 0
    cpc r11, r3
    out PORTG, r26
    brne 9f
8:  dec r23
    brne 2b
    add r18, r21
    adc r19, r22
    adc r20, r22
    dec r0
    brne 1b
9:  rjmp .Lout
.Ldrive:
    std Z+PORT_OF, r12
    std Z+DDR_OF, r25
    sbrs r9, 0
    ret
    std Z+BEHIND+PORT_OF, r13
    std Z+BEHIND+DDR_OF, r25
    ret
.Lrelease:
    std Z+DDR_OF, r1
    std Z+PORT_OF, r1
    sbrs r9, 0
    ret
    std Z+BEHIND+DDR_OF, r1
    std Z+BEHIND+PORT_OF, r1
    ret
