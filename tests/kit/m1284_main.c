/* The firmware of the second board: template_main.c, filled in. */
#include "../core/bw.h"

static bw_core core;

ISR(TIMER1_OVF_vect) {
    core.bd.turns++;
}

ISR(USART0_RX_vect) {
    if (UCSR0A & _BV(DOR0) && core.in.lost != 255) core.in.lost++;
    bw_receive(&core, UDR0);
}

int main(void) {
    DDRD = _BV(1) | _BV(5); /* the rail's switch: off */
    PORTD = _BV(0) | _BV(7);
    MCUCR = _BV(JTD); /* twice: port C is no debugger's interface */
    MCUCR = _BV(JTD);
    TCCR1B = _BV(CS11);
    TIMSK1 = _BV(TOIE1);
    ADMUX = _BV(REFS1) | _BV(REFS0) | 7;
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | 7;
    UCSR0A = _BV(U2X0);
    UBRR0 = F_CPU / 8 / BD_RESET_RATE - 1;
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
    bw_begin(&core);
    sei();
    for (;;) bw_step(&core);
}
