/* A subject for the tests of the harness: sends back each byte plus one, copies PD2 to PA0 once a millisecond, counts
 * its starts in the EEPROM, and tells their cause and a byte of SRAM that no start touches. `w` lets the watchdog
 * bite; `s` sleeps with interrupts off. Sleeps in between. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

static volatile uint8_t kept __attribute__((section(".noinit")));
static volatile uint8_t received, have;

ISR(USART0_RX_vect)
{
    received = UDR0;
    have = 1;
}

ISR(TIMER0_COMPA_vect)
{
    if (PIND & _BV(2)) {
        PORTA |= _BV(0);
    } else {
        PORTA &= (uint8_t)~_BV(0);
    }
}

static void put(uint8_t byte)
{
    while (!(UCSR0A & _BV(UDRE0))) {
    }
    UDR0 = byte;
}

int main(void)
{
    const uint8_t cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
    EICRA = _BV(ISC01) | _BV(ISC11);
    DDRA = _BV(0);
    UBRR0 = 16;
    UCSR0A = _BV(U2X0);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    OCR0A = 249;
    TCCR0A = _BV(WGM01);
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00);
    eeprom_write_byte((uint8_t *)0, (uint8_t)(eeprom_read_byte((uint8_t *)0) + 1));
    eeprom_write_byte((uint8_t *)1, (uint8_t)(eeprom_read_byte((uint8_t *)1) + 1));
    put('!');
    put((uint8_t)('0' + cause));
    put(kept);
    put('\n');
    sei();
    for (;;) {
        set_sleep_mode(SLEEP_MODE_IDLE);
        cli();
        if (!have) {
            sleep_enable();
            sei();
            sleep_cpu();
            sleep_disable();
            continue;
        }
        have = 0;
        sei();
        switch (received) {
        case 'w':
            kept = 'K';
            wdt_enable(WDTO_15MS);
            for (;;) {
            }
        case 's':
            cli();
            sleep_enable();
            sleep_cpu();
            break;
        default:
            put((uint8_t)(received + 1));
        }
        put('\n');
    }
}
