/* Loops of a script in a form that a board makes faster than the interpreter; see quick.c. Also read
 * by assemblers: nothing but numbers.
 *
 * A row of steps, each a byte that says which, and what it needs, numbers low byte first:
 *
 *   WRITE   address 3, value 4    a write
 *   WRITE_A value 4               the same at A
 *   TAKE                          the next payload word, written at A
 *   SKIP    value 4, to 1         the next payload word; if it is the value, on at this byte of the row
 *   PUT                           the word that SKIP has taken, written at A
 *   WANT    value 4               what the next wait wants, instead of the word taken last
 *   WAIT    mask 4                a wait at A: lines that must be as wanted;
 *           left 1                lanes that are in no test, bit n for lane n, and in bits 6 and 7
 *                                 the lanes: 80 of 8 lines, 00 of 16, 40 of 32;
 *           at 2, back 1          the operation; 1: the payload's cursor stands one word back
 *   STEP    words 2               A moves, signed
 *   LOOP    times 1               0: 256 times; loops are not nested
 *   AGAIN   to 1                  its end, and where it begins
 *   END                           a turn is over */
#ifndef BW_QUICK_OPS_H
#define BW_QUICK_OPS_H

#define QUICK_WRITE 0
#define QUICK_WRITE_A 1
#define QUICK_TAKE 2
#define QUICK_SKIP 3
#define QUICK_PUT 4
#define QUICK_WANT 5
#define QUICK_WAIT 6
#define QUICK_STEP 7
#define QUICK_LOOP 8
#define QUICK_AGAIN 9
#define QUICK_END 10

#define QUICK_EIGHTS 0x80
#define QUICK_WHOLE 0x40

#endif
