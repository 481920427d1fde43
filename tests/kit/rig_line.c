/* The line: frames of ten bits, a sender with one byte in waiting, a receiver with two. The host is on
 * a pseudo-terminal, at the controller's rate, or a test that has a rate of its own. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "rig.h"

enum { RXEN = 1 << 4, UDRIE = 1 << 5, RXC = 1 << 7, TXC = 1 << 6, UDRE = 1 << 5, DOR = 1 << 3, U2X = 1 << 1 };

static uint64_t byte_cycles(const rig_line *l) {
    const uint8_t *d = l->avr->data;
    return 80u * ((d[UART_RATE] | (d[UART_RATE + 1] & 15) << 8) + 1u);
}

static double host_bit(const rig_line *l) {
    return l->rate ? (double)l->avr->frequency / l->rate : byte_cycles(l) / 10.0;
}

/* A byte as one sees it who looks at the midst of bits of another length. */
static uint8_t seen(uint8_t byte, double bit, double looked) {
    uint8_t as = 0;
    for (unsigned n = 0; n < 8; n++) {
        unsigned at = (unsigned)((n + 1.5) * looked / bit);
        if (at > 8 || (at > 0 && byte >> (at - 1) & 1)) as |= (uint8_t)(1 << n);
    }
    return as;
}

/* What goes out, by kind of frame. */
static void noted(rig_line *l, uint8_t byte) {
    uint64_t now = l->avr->cycle;
    if (byte == 0) {
        if (l->place > 2) {
            l->answered += l->kind != 0xFE; /* BUSY is no answer */
            l->of[l->kind].last = l->shift_end;
            l->of[l->kind].reads = *l->reads - l->of[l->kind].reads_before;
        }
        l->place = 0;
        return;
    }
    if (++l->place == 2) {
        l->kind = byte;
        if (l->of[byte].frames++ == 0) {
            l->of[byte].first = now;
            l->of[byte].reads_before = *l->reads;
        } else if (byte == 0x89 && now > l->of[byte].last) {
            l->of[byte].idle += now - l->of[byte].last; /* the line was free */
        }
    }
    l->of[l->kind].bytes += l->place > 2;
}

/* The interrupt of an empty sender comes again and again, as long as it is let on. */
static avr_cycle_count_t empties(avr_t *avr, avr_cycle_count_t when, void *with) {
    rig_line *l = with;
    (void)when;
    if (avr->data[UART_CONTROL] & UDRIE && avr->cycle >= l->buffer_empty)
        avr_raise_interrupt(avr, &l->uart->udrc);
    return 0;
}

static void control_written(avr_t *avr, avr_io_addr_t at, uint8_t value, void *with) {
    rig_line *l = with;
    avr->data[at] = value;
    if (!(value & UDRIE)) {
        avr_clear_interrupt(avr, &l->uart->udrc);
    } else if (avr->cycle >= l->buffer_empty) {
        avr_raise_interrupt(avr, &l->uart->udrc);
    }
    if (value & RXEN && l->fifo_count) avr_raise_interrupt(avr, &l->uart->rxc);
}

/* The host is given the time that it needs: simulated time stands still while several frames wait for
 * it, so that no figure depends on how busy this computer is. */
static void wait_for_host(const rig_line *l) {
    int waiting = 0;
    if (ioctl(l->slave, FIONREAD, &waiting) || waiting < 3000) return;
    for (unsigned n = 0; n < 20000 && waiting > 1000; n++) {
        struct pollfd p = {0, POLLIN, 0};
        usleep(50);
        if (ioctl(l->slave, FIONREAD, &waiting)) return;
        if (n % 100 == 0 && poll(&p, 1, 0) > 0) return;
    }
}

/* So it does after a reply to RUN: the host always says something then, and its own time and that of
 * this computer are no figures of the firmware. What it says last in a row costs a wait for nothing. */
static void wait_for_word(rig_line *l) {
    struct pollfd p[2] = {{l->master, POLLIN, 0}, {0, POLLIN, 0}};
    poll(p, 2, 60);
}

/* And so it does while few requests wait: the host asks in bursts, with naps of its own between them. */
static void wait_for_requests(rig_line *l) {
    struct pollfd p[2] = {{l->master, POLLIN, 0}, {0, POLLIN, 0}};
    if (l->asked < l->answered + 8 && line_take(l) == false) poll(p, 2, 100);
}

static void hears(rig_line *l, uint8_t byte) {
    if (l->heard_count == sizeof l->heard) return;
    l->heard[l->heard_count++] = byte;
    if (byte || l->heard_count < 2) return;
    l->frame = l->heard_count;
    l->frame_end = l->shift_end;
}

static void sent(avr_t *avr, avr_io_addr_t at, uint8_t byte, void *with) {
    rig_line *l = with;
    uint64_t now = avr->cycle;
    bool ends_run, ends_read;
    (void)at;
    if (now < l->buffer_empty) {
        l->overwritten++;
        return;
    }
    l->buffer_empty = now > l->shift_end ? now : l->shift_end;
    l->shift_end = l->buffer_empty + (l->leaves ? l->leaves : byte_cycles(l));
    l->sent++;
    avr_clear_interrupt(avr, &l->uart->udrc);
    if (l->buffer_empty > now) avr_cycle_timer_register(avr, l->buffer_empty - now, empties, l);
    else if (avr->data[UART_CONTROL] & UDRIE) avr_raise_interrupt(avr, &l->uart->udrc);
    l->last_byte = now;
    if (l->master < 0) {
        noted(l, byte);
        hears(l, seen(byte, byte_cycles(l) / 10.0, host_bit(l)));
        return;
    }
    if (byte == 0) wait_for_host(l);
    ends_run = byte == 0 && l->place > 2 && l->kind == 0x8F;
    ends_read = byte == 0 && l->place > 2 && l->kind == 0x89;
    noted(l, byte);
    while (write(l->master, &byte, 1) != 1) {
        /* Nobody reads: simulated time stops, so that no byte is lost. */
        struct pollfd p[2] = {{l->master, POLLOUT, 0}, {0, POLLIN, 0}};
        poll(p, 2, 100);
        if (p[1].revents) return;
    }
    if (ends_run) wait_for_word(l);
    if (ends_read) wait_for_requests(l);
}

static uint8_t status(avr_t *avr, avr_io_addr_t at, void *with) {
    rig_line *l = with;
    uint64_t now = avr->cycle;
    (void)at;
    return (uint8_t)((l->fifo_count ? RXC : 0) | (now >= l->shift_end ? TXC : 0) |
                     (now >= l->buffer_empty ? UDRE : 0) | (l->overrun ? DOR : 0) | U2X);
}

static void status_written(avr_t *avr, avr_io_addr_t at, uint8_t value, void *with) {
    (void)avr;
    (void)at;
    (void)value;
    (void)with;
}

static avr_cycle_count_t arrives(avr_t *avr, avr_cycle_count_t when, void *with) {
    rig_line *l = with;
    (void)when;
    if (l->in_at < l->in_count) {
        uint8_t byte = seen(l->in[l->in_at++], host_bit(l), byte_cycles(l) / 10.0);
        l->received++;
        l->last_byte = l->came_at = avr->cycle;
        if (!(avr->data[UART_CONTROL] & RXEN)) {
            /* Nobody listens yet. */
        } else if (l->fifo_count == 2 || l->jammed) {
            l->jammed = false;
            l->overrun = true;
            if (!l->overruns++) l->overrun_pc = avr->pc;
        } else {
            l->since[l->fifo_count] = avr->cycle;
            l->fifo[l->fifo_count++] = byte;
        }
        if (l->fifo_count) avr_raise_interrupt(avr, &l->uart->rxc);
    }
    if (l->in_at == l->in_count && !line_take(l)) {
        l->receiving = false;
        return 0;
    }
    return avr->cycle + (uint64_t)(10 * host_bit(l));
}

static uint8_t taken(avr_t *avr, avr_io_addr_t at, void *with) {
    rig_line *l = with;
    uint8_t byte = l->fifo[0];
    (void)at;
    l->overrun = false;
    if (l->fifo_count) {
        if (avr->cycle - l->since[0] > l->waited) l->waited = avr->cycle - l->since[0];
        l->fifo[0] = l->fifo[1], l->since[0] = l->since[1], l->fifo_count--;
    }
    if (l->fifo_count) {
        avr_raise_interrupt(avr, &l->uart->rxc);
    } else {
        avr_clear_interrupt(avr, &l->uart->rxc);
    }
    return byte;
}

static void begins(rig_line *l) {
    if (l->receiving) return;
    l->receiving = true;
    avr_cycle_timer_register(l->avr, (uint64_t)(10 * host_bit(l)), arrives, l);
}

bool line_say(rig_line *l, const uint8_t *bytes, unsigned count) {
    unsigned left = l->in_count - l->in_at;
    if (count > sizeof l->in - left) return false;
    memmove(l->in, l->in + l->in_at, left);
    memcpy(l->in + left, bytes, count);
    l->in_at = 0;
    l->in_count = left + count;
    if (l->in_count) begins(l);
    return true;
}

bool line_take(rig_line *l) {
    ssize_t n;
    if (l->in_at < l->in_count) return true;
    if (l->master < 0) return false;
    n = read(l->master, l->in, sizeof l->in);
    if (n <= 0) return false;
    l->in_at = 0;
    l->in_count = (unsigned)n;
    for (unsigned at = 0; at < l->in_count; at++) {
        l->asked += l->in[at] == 0 && l->before != 0;
        l->before = l->in[at];
    }
    begins(l);
    return true;
}

static uint64_t wall_us(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

void line_begins_pace(rig_line *l) {
    l->wall = wall_us();
    l->simulated = l->avr->cycle;
}

/* While bytes or words move simulated time goes as fast as it can; else as the wall's, and so, too, when
 * the host has said nothing for two seconds: the dead-man waits for five, and a host that this computer
 * keeps waiting says its PING by the wall's time. */
bool line_keeps_pace(rig_line *l, uint64_t read_at) {
    uint64_t now = l->avr->cycle, moved = l->last_byte > read_at ? l->last_byte : read_at;
    uint32_t hz = l->avr->frequency;
    if (++l->turns % 64) return false;
    line_take(l);
    if (now - moved < hz / 500 && now - l->came_at < 2ull * hz) {
        line_begins_pace(l);
    } else if ((now - l->simulated) / (hz / 1000000) > wall_us() - l->wall + 2000) {
        struct pollfd p[2] = {{l->master, POLLIN, 0}, {0, POLLIN, 0}};
        poll(p, 2, 2);
        if (p[1].revents) return true;
        ioctl(l->slave, TIOCNXCL);
    }
    return false;
}

static void rate_written(avr_t *avr, avr_io_addr_t at, uint8_t value, void *with) {
    rig_line *l = with;
    avr->data[at] = value;
    l->rate_at = avr->cycle;
}

void line_reset(rig_line *l) {
    uint64_t now = l->avr->cycle;
    /* What had not left yet never comes. */
    if (now < l->buffer_empty && l->heard_count) l->heard_count--;
    if (now < l->shift_end && l->heard_count) l->heard_count--;
    l->buffer_empty = l->shift_end = now;
    l->fifo_count = l->frame = 0;
    l->overrun = l->receiving = false;
    if (l->in_at < l->in_count) begins(l);
}

bool line_open(rig_line *l) {
    struct termios t;
    l->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (l->master < 0 || grantpt(l->master) || unlockpt(l->master)) return false;
    l->slave = open(ptsname(l->master), O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (l->slave < 0 || tcgetattr(l->slave, &t)) return false;
    cfmakeraw(&t);
    tcsetattr(l->slave, TCSANOW, &t);
    fcntl(l->master, F_SETFL, O_NONBLOCK);
    return true;
}

bool line_begin(rig_line *l, avr_t *avr) {
    l->avr = avr;
    l->master = l->slave = -1;
    for (avr_io_t *io = avr->io_port; io; io = io->next)
        if (io->kind[0] == 'u' && ((avr_uart_t *)io)->name == '0') l->uart = (avr_uart_t *)io;
    if (!l->uart) return false;
    for (unsigned n = 0; n < 2; n++) {
        avr->io[AVR_DATA_TO_IO(UART_RATE + n)].w.c = rate_written;
        avr->io[AVR_DATA_TO_IO(UART_RATE + n)].w.param = l;
    }
    avr->io[AVR_DATA_TO_IO(UART_DATA)].w.c = sent;
    avr->io[AVR_DATA_TO_IO(UART_DATA)].w.param = l;
    avr->io[AVR_DATA_TO_IO(UART_DATA)].r.c = taken;
    avr->io[AVR_DATA_TO_IO(UART_DATA)].r.param = l;
    avr->io[AVR_DATA_TO_IO(UART_STATUS)].r.c = status;
    avr->io[AVR_DATA_TO_IO(UART_STATUS)].r.param = l;
    avr->io[AVR_DATA_TO_IO(UART_STATUS)].w.c = status_written;
    avr->io[AVR_DATA_TO_IO(UART_CONTROL)].w.c = control_written;
    avr->io[AVR_DATA_TO_IO(UART_CONTROL)].w.param = l;
    return true;
}
