/* A new board: sets clock, line and rail sense going, then the core for ever. */
#include "../core/bw.h"

/* All zeros before bw_begin, as static memory is. */
static bw_core core;

/* The receive interrupt, by your controller's name for it: every byte that came, and nothing else. Where
 * the receiver tells that a byte before it was lost, core.in.lost counts it, up to 255. */
void line_interrupt(void);
void line_interrupt(void) {
    bw_receive(&core, 0);
}

int main(void) {
#error "boards/template_main.c is to be copied and filled in, from here on"
    /* 1. Pins: the rail's switch to off before anything else; what shares a pin with a line (a
     *    debugger's interface, say) off. Lines to the module stay inputs: bw_begin sees to them.
     * 2. The clock of bd_now, and its interrupt.
     * 3. Rail sense, so that it runs by itself.
     * 4. The line, at BD_RESET_RATE, eight bits, no parity, one stop bit, and its interrupt. */
    bw_begin(&core);
    /* 5. Interrupts on, if they are not yet. */
    for (;;) bw_step(&core);
}
