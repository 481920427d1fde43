/* The firmware of an ATmega2560: clock, line and rail sense set going, then the core. */
#include "../core/parts.h"

static bw_core core;
uint8_t m2560_ring[512] __attribute__((externally_visible, section(".ring,\"aw\",@nobits;")));

/* The interrupts keep what they need in registers that nothing else uses: none interrupts another, and
 * a push takes a cycle more. */
#define KEPT "out %[a], r24\n\tin r24, __SREG__\n\tout %[b], r24\n\tout %[c], r30\n\tpush r31\n\t"
#define BACK \
    "pop r31\n\tin r30, %[c]\n\tin r24, %[b]\n\tout __SREG__, r24\n\tin r24, %[a]\n\treti\n\t"
#define KEEPERS \
    [a] "I"(_SFR_IO_ADDR(GPIOR0)), [b] "I"(_SFR_IO_ADDR(GPIOR1)), [c] "I"(_SFR_IO_ADDR(GPIOR2))

/* Timer 1 has turned over. It delays the looks of m2560_quick.S at the line, so it is short. */
ISR(TIMER1_OVF_vect, ISR_NAKED) {
    __asm__ volatile(
        "out %[a], r24\n\t"
        "in r24, __SREG__\n\t"
        "out %[b], r24\n\t"
        "lds r24, %[turns]\n\t"
        "inc r24\n\t"
        "sts %[turns], r24\n\t"
        "brne 1f\n\t"
        "lds r24, %[turns]+1\n\t"
        "inc r24\n\t"
        "sts %[turns]+1, r24\n\t"
        "1: in r24, %[b]\n\t"
        "out __SREG__, r24\n\t"
        "in r24, %[a]\n\t"
        "reti"
        :
        : KEEPERS, [turns] "i"(&core.bd.turns));
}

/* A byte came: into the receive ring, or counted as lost. It has to be done within a byte's time, so
 * it is bw_receive() written for this part. */
ISR(USART0_RX_vect, ISR_NAKED) {
    __asm__ volatile(
        KEPT
        "lds r24, %[status]\n\t"
        "lds r31, %[head]+1\n\t"
        "lds r30, %[head]\n\t"
        "subi r30, lo8(-(%[ring]))\n\t"
        "sbci r31, hi8(-(%[ring]))\n\t"
        "sbrc r24, %[overrun]\n\t"
        "rjmp 3f\n\t"
        "1: lds r24, %[data]\n\t"
        "st Z+, r24\n\t"
        "subi r30, lo8(%[ring])\n\t"
        "sbci r31, hi8(%[ring])\n\t"
        "cpi r30, lo8(%[size])\n\t"
        "breq 6f\n\t"
        "2: lds r24, %[tail]\n\t"
        "cp r30, r24\n\t"
        "breq 7f\n\t"
        "8: sts %[head], r30\n\t"
        "sts %[head]+1, r31\n\t"
        "5: " BACK
        "6: cpi r31, hi8(%[size])\n\t"
        "brne 2b\n\t"
        "ldi r30, 0\n\t"
        "ldi r31, 0\n\t"
        "rjmp 2b\n\t"
        "7: lds r24, %[tail]+1\n\t"
        "cpse r31, r24\n\t"
        "rjmp 8b\n\t"
        "lds r24, %[lost]\n\t" /* full: the byte stands where nobody looks */
        "inc r24\n\t"
        "breq 5b\n\t"
        "sts %[lost], r24\n\t"
        "rjmp 5b\n\t"
        "3: lds r24, %[lost]\n\t" /* a byte before this one is gone */
        "inc r24\n\t"
        "breq 1b\n\t"
        "sts %[lost], r24\n\t"
        "rjmp 1b"
        :
        : KEEPERS, [status] "i"(&UCSR0A), [data] "i"(&UDR0), [overrun] "M"(DOR0), [head] "i"(&core.in.head),
          [tail] "i"(&core.in.tail), [ring] "i"(&core.ring[0]), [size] "i"(BD_RING),
          [lost] "i"(&core.in.lost));
}

/* The sender is empty: the next byte of the ring, and at its end no more of these. On the way of almost
 * every byte nothing changes the flags. */
ISR(USART0_UDRE_vect, ISR_NAKED) {
    __asm__ volatile(
        "out %[a], r24\n\t"
        "out %[b], r30\n\t"
        "out %[c], r31\n\t"
        "lds r30, %[tail]\n\t"
        "lds r31, %[tail]+1\n\t"
        "lds r24, %[ready]\n\t"
        "cpse r30, r24\n\t"
        "rjmp 1f\n\t"
        "lds r24, %[ready]+1\n\t"
        "cpse r31, r24\n\t"
        "rjmp 1f\n\t"
        "in r30, __SREG__\n\t"
        "lds r24, %[control]\n\t"
        "andi r24, %[quiet]\n\t"
        "sts %[control], r24\n\t"
        "out __SREG__, r30\n\t"
        "rjmp 2f\n\t"
        "1: ld r24, Z+\n\t"
        "sts %[data], r24\n\t"
        "sbrc r31, 2\n\t"
        "ldi r31, hi8(m2560_ring)\n\t"
        "sts %[tail], r30\n\t"
        "sts %[tail]+1, r31\n\t"
        "2: in r31, %[c]\n\t"
        "in r30, %[b]\n\t"
        "in r24, %[a]\n\t"
        "reti\n\t"
        :
        : KEEPERS, [data] "i"(&UDR0), [control] "i"(&UCSR0B),
          [quiet] "M"(0xFF ^ 1 << UDRIE0), [tail] "i"(&core.out.tail),
          [ready] "i"(&core.out.ready));
}

void m2560_levels(bw_core *c, const bw_shape *s, uint8_t *to, uint8_t count) {
    uint8_t driven = levels_held(c).mask;
    for (uint8_t n = 0; n < count; n++) to[n] = s->image[n] & driven;
}

bool m2560_within(const bw_shape *s, const uint8_t *longest) {
    for (uint8_t n = 0; n < 5; n++)
        if (s->waits[n] > BD_ROM8(&longest[n])) return false;
    return true;
}

int main(void) {
    /* The receive ring for m2560_quick.S. */
    __asm__ volatile(".global m2560_rx, m2560_rx_end, m2560_head\n\t"
                     ".set m2560_rx, %[ring]\n\t"
                     ".set m2560_rx_end, %[ring]+%[size]\n\t"
                     ".set m2560_head, %[head]"
                     :
                     : [ring] "i"(&core.ring[0]), [size] "i"(BD_RING), [head] "i"(&core.in.head));
    TCCR0B = 1 << CS02 | 1 << CS00; /* clock / 1024, for m2560_quick.S */
    TCCR1B = 1 << CS11;             /* clock / 8 */
    TIMSK1 = 1 << TOIE1;
    UBRR0 = F_CPU / 8 / BD_RESET_RATE - 1;
    UCSR0A = 1 << U2X0;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0;
    /* Rail sense runs by itself, at 125 kHz: a new value every 104 us. */
    ADMUX = 1 << REFS1 | 1 << REFS0;
    ADCSRB = 0;
    ADCSRA = 1 << ADEN | 1 << ADSC | 1 << ADATE | (MHZ == 16 ? 7 : 6);
    DIDR0 = 1;
    PORTE = 1 << 7 | 1 << 4; /* pull-ups of limit and ready */
    DDRE = 1 << 6 | 1 << 5;
    core.out.head = core.out.tail = core.out.block = core.out.ready = BD_OUT_FIRST;
    sei();
    bw_begin(&core);
    for (;;) bw_step(&core);
}
