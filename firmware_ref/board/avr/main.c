/* AVR port: ATmega1284P, 16 MHz crystal.  One tick a millisecond, asleep in between.
 *
 * Pins come from pins.csv through the Makefile (pins.h); README.md says what is
 * at them.  EEPROM: the parameter image from address 0, the record store from
 * STORE_AT. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/power.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board.h"
#include "pins.h"

enum { STORE_AT = 0x200, TICK_HZ = 1000 };

_Static_assert((int)IMAGE_BYTES <= (int)STORE_AT, "the parameter image reaches into the record store");

#define CHANNEL(n, number) number,
#define CHANNEL_BIT(n, number) | _BV(number)
static const uint8_t channel[SENSORS] = {SENSOR_CHANNELS(CHANNEL)};
enum { ANALOG = 0 SENSOR_CHANNELS(CHANNEL_BIT) };

static volatile uint8_t ticks;
static board core;

/* -- the bus: USART1, whose pins pins.csv names for whoever wires them -- */

enum { BUS_WAITING = 32, SLOWEST_DIVIDER = 417 }; /* 16 MHz / (16 x 2400) */
static volatile uint8_t heard[BUS_WAITING], heard_first, heard_count;
static volatile bool heard_damaged;
static volatile uint8_t said;

ISR(USART1_RX_vect)
{
    const bool damaged = (UCSR1A & (_BV(FE1) | _BV(DOR1) | _BV(UPE1))) != 0;
    const uint8_t byte = UDR1;
    if (damaged || heard_count == BUS_WAITING) {
        heard_damaged = true;
    }
    if (heard_count < BUS_WAITING) {
        heard[(heard_first + heard_count) % BUS_WAITING] = byte;
        heard_count++;
    }
}

ISR(USART1_UDRE_vect)
{
    UCSR1A = _BV(TXC1);
    UDR1 = core.bus.question[said++];
    if (said == BUS_QUESTION) {
        UCSR1B = _BV(TXEN1) | _BV(TXCIE1);
    }
}

#define TO_HIGH(port, bit) PORT##port = (uint8_t)(PORT##port | _BV(bit));
#define TO_LOW(port, bit) PORT##port = (uint8_t)(PORT##port & ~_BV(bit));

ISR(USART1_TX_vect)
{
    BUS_DIRECTION_PIN(TO_LOW)
    UCSR1B = _BV(RXEN1) | _BV(TXEN1) | _BV(RXCIE1);
}

static void set_up_bus(const bus_parameters *p)
{
    if (p->sensor == 0u) {
            return;
    }
    /* A simulator works out how long a byte takes when the divider is written: it comes last. */
    UCSR1C = (uint8_t)(_BV(UCSZ11) | _BV(UCSZ10) |
                       (p->parity == 0u ? _BV(USBS1) : p->parity == 1u ? _BV(UPM11) : _BV(UPM11) | _BV(UPM10)));
    UBRR1 = (uint16_t)((SLOWEST_DIVIDER >> p->rate) - 1u);
    UCSR1B = _BV(RXEN1) | _BV(TXEN1) | _BV(RXCIE1);
}

static void ask(void)
{
    said = 0;
    BUS_DIRECTION_PIN(TO_HIGH)
    UCSR1B = _BV(TXEN1) | _BV(UDRIE1);
}

static void listen(board_inputs *in)
{
    cli();
    in->bus_damaged = heard_damaged;
    heard_damaged = false;
    for (in->bus_count = 0; heard_count > 0u && in->bus_count < BUS_TICK_BYTES; heard_count--) {
        in->bus[in->bus_count++] = heard[heard_first];
        heard_first = (heard_first + 1u) % BUS_WAITING;
    }
    sei();
}

ISR(TIMER1_COMPA_vect)
{
    ticks++;
}

/* The watchdog stays armed after it has bitten: it must be stopped before anything takes long. */
static start_cause cause_of_start(void)
{
    const uint8_t flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
    return (flags & (_BV(PORF) | _BV(BORF))) != 0 ? START_EMPTY : START_RUNNING;
}

/* Pull resistors outside hold the drivers off until here; latches are 0 from the reset on, so none comes on here. */
static void set_up_pins(void)
{
    /* Port C serves the calls: the debugging interface lets go of it after two writes in a row. */
    MCUCR = _BV(JTD);
    MCUCR = _BV(JTD);
#define OFF(port, bit) DDR##port = (uint8_t)(DDR##port | _BV(bit));
#define OFF_N(n, port, bit) OFF(port, bit)
    RELAY_PINS(OFF_N)
    ALARM_PINS(OFF_N)
    LIGHT_PIN(OFF)
    BIAS_PINS(OFF_N)
    BUS_DIRECTION_PIN(OFF)
    /* Every other pin is pulled up, but the analog ones: those have neither pull nor digital buffer. */
    PORTA = (uint8_t)~(DDRA | ANALOG);
    PORTB = (uint8_t)~DDRB;
    PORTC = (uint8_t)~DDRC;
    PORTD = (uint8_t)~DDRD;
    DIDR0 = ANALOG;
    /* Not used, but never level-triggered on a low pin. */
    EICRA = _BV(ISC21) | _BV(ISC11) | _BV(ISC01);
}

static void set_up_timers(void)
{
    ADMUX = _BV(REFS0) | channel[0];
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    OCR1A = F_CPU / TICK_HZ - 1;
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(WGM12) | _BV(CS10);
}

static uint16_t converted(void)
{
    while ((ADCSRA & _BV(ADSC)) != 0) {
    }
    return sensor_millivolts(ADC);
}

/* The conversion of the first, begun in the tick before, is long over; one of another takes 0.1 ms. */
static void sample_sensors(board_inputs *in)
{
    in->sensor_mv[0] = converted();
    for (uint8_t i = 1; i < SENSORS; i++) {
        in->sensor_mv[i] = 0;
        if (core.parameters.sensor[i].used) {
            ADMUX = (uint8_t)(_BV(REFS0) | channel[i]);
            ADCSRA |= _BV(ADSC);
            in->sensor_mv[i] = converted();
        }
    }
    ADMUX = (uint8_t)(_BV(REFS0) | channel[0]);
    ADCSRA |= _BV(ADSC);
}

static void sample(board_inputs *in)
{
    uint8_t calls = 0;
    /* An opto that conducts pulls its pin low. */
#define READ(n, port, bit) if ((PIN##port & _BV(bit)) == 0) { calls = (uint8_t)(calls | 1u << (n)); }
    CALL_PINS(READ)
#define LOW(port, bit) ((PIN##port & _BV(bit)) == 0)
    in->calls = calls;
    in->supply = SUPPLY_PIN(LOW);
    in->button = BUTTON_PIN(LOW);
    uint8_t troubles = 0;
#define TROUBLE(n, port, bit) if (LOW(port, bit)) { troubles = (uint8_t)(troubles | 1u << (n)); }
    TROUBLE_PINS(TROUBLE)
    in->troubles = troubles;
    sample_sensors(in);
    listen(in);
    in->store_ready = eeprom_is_ready();
}

static void carry_out(const board_outputs *out)
{
#define PUT(on, port, bit) \
    if (on) { PORT##port = (uint8_t)(PORT##port | _BV(bit)); } else { PORT##port = (uint8_t)(PORT##port & ~_BV(bit)); }
#define PUT_RELAY(n, port, bit) PUT((out->relays & 1u << (n)) != 0, port, bit)
#define PUT_ALARM(n, port, bit) PUT((out->alarms & 1u << (n)) != 0, port, bit)
#define PUT_LIGHT(port, bit) PUT(out->light, port, bit)
#define PUT_BIAS(n, port, bit) PUT((out->bias & 1u << (n)) != 0, port, bit)
    RELAY_PINS(PUT_RELAY)
    ALARM_PINS(PUT_ALARM)
    LIGHT_PIN(PUT_LIGHT)
    BIAS_PINS(PUT_BIAS)
    if (out->store) {
        eeprom_write_byte((uint8_t *)(STORE_AT + out->store_address), out->store_value);
    }
    if (out->bus_asks) {
        ask();
    }
    if (out->alive) {
        wdt_reset();
    }
}

static void start(start_cause cause)
{
    uint8_t image[IMAGE_BYTES], store[STORE_BYTES];
    eeprom_read_block(image, (const void *)0, sizeof image);
    eeprom_read_block(store, (const void *)STORE_AT, sizeof store);
    board_start(&core, image, store, cause);
}

static void wait_for_tick(uint8_t done)
{
    set_sleep_mode(SLEEP_MODE_IDLE);
    for (;;) {
        cli();
        if (ticks != done) {
            sei();
            return;
        }
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
    }
}

int main(void)
{
    const start_cause cause = cause_of_start();
    power_usart0_disable();
    power_usart1_disable();
    power_spi_disable();
    power_twi_disable();
    set_up_pins();
    start(cause);
    set_up_bus(&core.parameters.bus);
    set_up_timers();
    wdt_enable(WDTO_500MS);
    sei();
    uint8_t done = ticks;
    for (;;) {
        wait_for_tick(done);
        done++;
        board_inputs in;
        board_outputs out;
        sample(&in);
        board_tick(&core, &in, &out);
        carry_out(&out);
    }
}
