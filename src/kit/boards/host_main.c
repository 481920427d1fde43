/* The host board as a serial port: prints the name of a pseudo-terminal and serves it until its
 * standard input ends.
 *
 * usage: adapter-host STORE RAM_WORDS     STORE: a file of 32-bit words */
#define _GNU_SOURCE
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "../core/bw.h"
#include "host_module.h"

/* A rail of a few capacitors: from nothing to full in so long, and back. */
#define RISE_US 3000u
#define FALL_US 20000u

typedef struct {
    int master, slave;
    bool ended;
    host_module module;
    bool rail;
    uint32_t rail_since;
    uint8_t out[4096];
    uint16_t waiting;
} line;

static bw_core core;

static uint32_t now(void *with) {
    struct timespec t;
    (void)with;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint32_t)((uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u);
}

static void flush(line *l) {
    uint16_t done = 0;
    while (done < l->waiting) {
        ssize_t n = write(l->master, l->out + done, (size_t)(l->waiting - done));
        struct pollfd p = {l->master, POLLOUT, 0};
        if (n > 0) {
            done = (uint16_t)(done + n);
        } else if (poll(&p, 1, 1000) == 0) {
            break; /* nobody reads: on a real line the bytes would be gone */
        }
    }
    l->waiting = 0;
}

static void take(line *l) {
    uint8_t bytes[256];
    ssize_t n = read(l->master, bytes, sizeof bytes);
    for (ssize_t i = 0; i < n; i++) bw_receive(&core, bytes[i]);
}

static void idle(void *with) {
    static uint8_t turn;
    if (++turn % 32 == 0) take(with);
}

static bool tx_free(void *with) {
    line *l = with;
    if (l->waiting == sizeof l->out) flush(l);
    return true;
}

static bool tx_idle(void *with) {
    flush(with);
    return true;
}

static void tx(void *with, uint8_t byte) {
    line *l = with;
    l->out[l->waiting++] = byte;
}

static void rate(void *with, uint32_t wanted) {
    (void)with;
    (void)wanted;
}

static void changed(void *with, const host_pins *pins) {
    line *l = with;
    if (pins->rail != l->rail) l->rail_since = now(l);
    l->rail = pins->rail;
    module_changed(&l->module, pins);
}

static void pause_ns(void *with, uint16_t ns) {
    (void)with;
    (void)ns;
}

static uint32_t data(void *with, const host_pins *pins) {
    return module_data(&((line *)with)->module, pins);
}

static uint32_t address(void *with, const host_pins *pins) {
    (void)with;
    return (pins->address & pins->address_out) | pins->address_up;
}

static uint16_t control(void *with, const host_pins *pins) {
    return module_control(&((line *)with)->module, pins);
}

static uint16_t rail_mv(void *with) {
    line *l = with;
    uint32_t gone = now(l) - l->rail_since;
    if (l->rail) return (uint16_t)(gone >= RISE_US ? 3300 : 3300 * gone / RISE_US);
    if (!l->rail_since || gone >= FALL_US) return 0;
    return (uint16_t)(3300 - 3300 * gone / FALL_US);
}

static bool no(void *with) {
    (void)with;
    return false;
}

static bool yes(void *with) {
    (void)with;
    return true;
}

static const host_ops ops = {now,     idle,    tx_free, tx_idle, tx,   rate,    changed,
                             pause_ns, data,   address, control, rail_mv, no, yes};

static bool open_line(line *l) {
    struct termios t;
    l->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (l->master < 0 || grantpt(l->master) || unlockpt(l->master)) return false;
    /* Kept open: without any slave the master would only give errors. */
    l->slave = open(ptsname(l->master), O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (l->slave < 0 || tcgetattr(l->slave, &t)) return false;
    cfmakeraw(&t);
    tcsetattr(l->slave, TCSANOW, &t);
    fcntl(l->master, F_SETFL, O_NONBLOCK);
    printf("%s\n", ptsname(l->master));
    return fflush(stdout) == 0;
}

static bool load(host_module *m, const char *file, uint32_t ram_words) {
    FILE *f = fopen(file, "rb");
    long bytes;
    if (!f || fseek(f, 0, SEEK_END) || (bytes = ftell(f)) < 4) return false;
    rewind(f);
    m->store_words = (uint32_t)bytes / 4;
    m->store = malloc((size_t)bytes);
    m->ram_words = ram_words;
    m->ram = calloc(ram_words ? ram_words : 1, 4);
    if (!m->store || !m->ram || fread(m->store, 4, m->store_words, f) != m->store_words)
        return false;
    fclose(f);
    return true;
}

int main(int argc, char **argv) {
    static line l;
    bool idle_before = false;
    if (argc != 3 || !load(&l.module, argv[1], (uint32_t)strtoul(argv[2], 0, 0)) || !open_line(&l)) {
        fprintf(stderr, "usage: adapter-host STORE RAM_WORDS\n");
        return 2;
    }
    core.bd.ops = &ops;
    core.bd.with = &l;
    core.bd.boot_id = now(&l) | 1;
    bw_begin(&core);
    for (;;) {
        bool did = bw_step(&core);
        take(&l);
        if (did || core.in.scan != core.in.head) {
            idle_before = false;
            continue;
        }
        flush(&l);
        if (idle_before) {
            struct pollfd p[2] = {{l.master, POLLIN, 0}, {0, POLLIN, 0}};
            poll(p, 2, (int)(bw_idle_ticks(&core) / 1000));
            if (p[1].revents) break;
            /* A host that was killed leaves its exclusive mark, as no real device does. */
            ioctl(l.slave, TIOCNXCL);
        }
        idle_before = true;
    }
    fprintf(stderr, "violations %u, writes to the store %u, to the RAM %u\n", l.module.violations,
            l.module.store_writes, l.module.ram_writes);
    return l.module.violations || l.module.store_writes ? 1 : 0;
}
