/* Loops of a script in a form that a board makes faster than the interpreter; see quick.c. Also read
 * by assemblers: nothing but numbers.
 *
 * A row of steps, each two bytes that say which (bd_quick_code), and what it needs, numbers low byte
 * first:
 *
 *   WRITE   address 3, value 4    a write
 *   VALUE   value 4               a write at the address that stands on the lines
 *   TAKE                          the next payload word, written there
 *   SKIP    value 4, to 1         the next payload word; if it is the value, on at this byte of the row;
 *                                 and the address lines show A
 *   PUT                           the word that SKIP has taken, written where the lines stand
 *   WANT    value 4               what the next wait wants, instead of the word taken last
 *   BITS    mask 4                lines that waits look at; all of the word at the beginning, and to be
 *                                 all again when something is written
 *   WAIT    left 1                a wait where the lines stand. Bytes of the word that are in no test,
 *                                 bit n for byte n, and in bits 6 and 7 the lanes: 80 of 8 lines, 00 of
 *                                 16, 40 of 32; bit 5 is the board's;
 *           at 2, back 1          the operation; 1: the payload's cursor stands one word back
 *           fail 4                lines that tell of a failure: where one shows, the interpreter judges
 *   STEP    words 2               A moves, signed
 *   LOOP    times 1               0: 256 times; loops are not nested
 *   AGAIN   to 1                  its end, and where it begins
 *   END                           a turn is over
 *   ADDRESS                       the address lines show A
 *
 * A turn that is SKIP of a blank word of 32 lines, writes, PUT, WAIT in lanes of 16, STEP by 1 and END has
 * for SKIP and PUT these, which may do what follows them at once:
 *
 *   WORD                          as SKIP
 *   LAST                          as PUT */
#ifndef BW_QUICK_OPS_H
#define BW_QUICK_OPS_H

#define QUICK_WRITE 0
#define QUICK_VALUE 1
#define QUICK_TAKE 2
#define QUICK_SKIP 3
#define QUICK_PUT 4
#define QUICK_WANT 5
#define QUICK_BITS 6
#define QUICK_WAIT 7
#define QUICK_STEP 8
#define QUICK_LOOP 9
#define QUICK_AGAIN 10
#define QUICK_END 11
#define QUICK_ADDRESS 12
#define QUICK_WORD 13
#define QUICK_LAST 14

#define QUICK_EIGHTS 0x80
#define QUICK_WHOLE 0x40

#endif
