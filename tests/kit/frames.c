/* Frames of tests/vectors/frames.txt. Each line of standard input is a body, a bar, and a frame, in
 * hexadecimal; printed are the frame made of that body, a bar, and the body found in that frame. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "parts.h"
#include "quiet_ops.h"

static bw_core core;

void count_on(uint32_t *at, uint16_t more) {
    *at += more;
}

bool work_watch(bw_core *c) {
    (void)c;
    return true;
}

/* Instead of answering, a frame is printed. */
void answer_frame(bw_core *c) {
    for (uint16_t n = 0; n < c->in.length; n++) printf(" %02X", line_u8(c, n));
}

int main(void) {
    static char text[16384];
    core.bd.ops = &quiet_ops;
    core.in.put = core.in.scan = core.in.head = 2;
    core.in.rx.crc = CRC_START;
    while (fgets(text, sizeof text, stdin)) {
        char *bar = strchr(text, '|'), *word;
        unsigned n = 0;
        uint8_t kind = 0;
        if (!bar) return 2;
        *bar = 0;
        sent_count = 0;
        for (word = strtok(text, " "); word; word = strtok(0, " "), n++) {
            uint8_t byte = (uint8_t)strtoul(word, 0, 16);
            if (n == 0) kind = byte;
            if (n == 1) send_begin(&core, kind, byte);
            if (n > 1) send8(&core, byte);
        }
        send_end(&core);
        send_pump(&core);
        for (n = 0; n < sent_count; n++) printf(n ? " %02X" : "%02X", sent[n]);
        printf(" |");
        for (word = strtok(bar + 1, " \n"); word; word = strtok(0, " \n"))
            bw_receive(&core, (uint8_t)strtoul(word, 0, 16));
        line_poll(&core);
        printf("\n");
    }
    return core.damaged || core.overruns ? 1 : 0;
}
