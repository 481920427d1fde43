/* The firmware of an ATmega2560: clock, line and rail sense set going, then the core. */
#include "../core/bw.h"

static bw_core core;

ISR(TIMER1_OVF_vect) {
    core.bd.turns++;
}

ISR(USART0_RX_vect) {
    uint8_t status = UCSR0A, byte = UDR0;
    /* A byte before this one is gone. */
    if (status & (1 << DOR0) && core.lost != 255) core.lost++;
    bw_receive(&core, byte);
}

int main(void) {
    TCCR1B = 1 << CS11; /* clock / 8 */
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
    sei();
    bw_begin(&core);
    for (;;) bw_step(&core);
}
