/* Where the part begins: vectors up to the last that is used, and then main. The table that comes with
 * the compiler has thirty more, and the checksum's table would have to stand behind a gap. */
#include "m2560_asm.h"

    .section .vectors, "ax", @progbits
    .global __vectors
__vectors:
    jmp __init
    .rept 19
    jmp __vectors
    .endr
    jmp __vector_20 /* timer 1 turns over */
    .rept 4
    jmp __vectors
    .endr
    jmp __vector_25 /* a byte came */
    jmp __vector_26 /* the sender is empty */

    .section .init2, "ax", @progbits
    .global __init
__init:
    clr r1
    out _SFR_IO_ADDR(SREG), r1
    ldi r28, lo8(RAMEND)
    ldi r29, hi8(RAMEND)
    out _SFR_IO_ADDR(SPH), r29
    out _SFR_IO_ADDR(SPL), r28

    .section .init9, "ax", @progbits
    jmp main
