// SPDX-License-Identifier: GPL-3.0-or-later
// Analog signals. Nothing is stepped: a voltage is worked out at the instant at which a converter looks at it.
#include <math.h>

#include "avr_adc.h"
#include "avr_spi.h"
#include "avr_timer.h"
#include "bench.h"

#define ADMUX 0x7c
#define REFERENCE_V 5.0
#define RMS_V_PER_V 0.1
#define RMS_TAU_S 0.03
#define CONTACT_OHM 0.1

static int word_at(const core *c, int address)
{
	return c->avr->data[address] | c->avr->data[address + 1] << 8;
}

// What the pin of the PWM is at, on average.
static double duty(const core *c, const sensor *s)
{
	const port_state *p = &c->ports[s->port];
	if (!c->powered || !(p->ddr >> s->bit & 1))
		return 0.0;
	int mode = c->avr->data[s->timer_a] >> s->shift & 3;
	if (mode == 0)
		return p->port >> s->bit & 1;
	int top = word_at(c, s->icr), match = word_at(c, s->ocr);
	double high = match >= top ? 1.0 : (match + 1.0) / (top + 1.0);
	return mode == 2 ? high : 1.0 - high;
}

// Three equal poles in a row, with a constant input: exact.
static void filter_to(sensor *s, int64_t ns)
{
	double x = (double)(ns - s->at_ns) / 1e9 / s->tau_s, decay = exp(-x);
	double e1 = s->state_v[0] - s->input_v, e2 = s->state_v[1] - s->input_v, e3 = s->state_v[2] - s->input_v;
	s->state_v[0] = s->input_v + decay * e1;
	s->state_v[1] = s->input_v + decay * (e2 + x * e1);
	s->state_v[2] = s->input_v + decay * (e3 + x * e2 + x * x / 2 * e1);
	s->at_ns = ns;
}

// The PWM may have been changed: up to now the filter saw what was there before.
void sensors_follow(bench *b)
{
	int64_t now = bench_now(b);
	for (int i = 0; i < b->sensor_count; i++) {
		sensor *s = &b->sensors[i];
		if (now > s->at_ns)
			filter_to(s, now);
		s->input_v = duty(&b->cores[0], s) * REFERENCE_V + s->offset_v[0];
	}
}

static double terminal_v(bench *b, const sensor *s)
{
	double siemens = 1 / s->load_ohm, ampere = s->load_v / s->load_ohm;
	if (b->poles[s->connect].closed) {
		siemens += 1 / s->series_ohm;
		ampere += s->state_v[2] / s->series_ohm;
	}
	if (b->poles[s->shorted].closed)
		siemens += 1 / CONTACT_OHM;
	if (b->poles[s->normal].closed)
		siemens += 1 / s->normal_ohm;
	if (b->poles[s->leak].closed)
		siemens += 1 / s->leak_ohm;
	if (s->bias >= 0 && b->nets[s->bias].level) {
		siemens += 1 / s->bias_ohm;
		ampere += REFERENCE_V / s->bias_ohm;
	}
	return fmin(fmax(ampere / siemens, 0), REFERENCE_V);
}

static void rms_to(bench *b, node *n, int64_t ns)
{
	double goal = n->hot ? b->mains_v : 0;
	n->rms_v = goal + (n->rms_v - goal) * exp(-(double)(ns - n->rms_ns) / 1e9 / RMS_TAU_S);
	n->rms_ns = ns;
}

void node_changes(bench *b, int n)
{
	rms_to(b, &b->nodes[n], bench_now(b));
}

static double ladder_v(const bench *b, const sensor *s)
{
	int code = b->poles[s->connect + 1].closed + 2 * b->poles[s->shorted + 1].closed +
		   4 * b->poles[s->normal + 1].closed + 8 * b->poles[s->leak + 1].closed;
	return REFERENCE_V * code / 16;
}

static double channel_v(bench *b, const channel *ch)
{
	sensors_follow(b);
	switch (ch->kind) {
	case READS_RMS:
		rms_to(b, &b->nodes[ch->of], bench_now(b));
		return b->nodes[ch->of].rms_v * RMS_V_PER_V;
	case READS_LADDER:
		return ladder_v(b, &b->sensors[ch->of]);
	case READS_TERMINAL:
		return terminal_v(b, &b->sensors[ch->of]) + b->sensors[ch->of].board_offset_v;
	default:
		return 0;
	}
}

// A conversion begins: give the converter what is there at this instant.
static void converting(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq, (void)value;
	core *c = param;
	int number = c->avr->data[ADMUX] & 7;
	double volts = channel_v(c->bench, &c->bench->channels[c->index][number]);
	uint32_t millivolts = (uint32_t)lround(fmax(volts, 0) * 1000);
	avr_raise_irq(avr_io_getirq(c->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + number), millivolts);
}

// -- the external converter: 12 bits, eight inputs, three bytes a conversion ----------------------------------

static int converter_reads(bench *b, int input)
{
	sensors_follow(b);
	if (input / 2 >= b->sensor_count)
		return 0;
	const sensor *s = &b->sensors[input / 2];
	double volts = input % 2 ? terminal_v(b, s) : s->state_v[2];
	volts += s->offset_v[1] + draw_even(b, b->converter_noise_v);
	double code = floor(volts / REFERENCE_V * 4096 + 0.5);
	return (int)fmin(fmax(code, 0), 4095);
}

static void shifted(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	core *c = param;
	bench *b = c->bench;
	if (b->converter_select < 0 || b->nets[b->converter_select].level) {
		b->converter_step = 0;
		return;
	}
	uint32_t answer = 0;
	switch (b->converter_step++) {
	case 0:
		b->converter_code = (value & 0x06) == 0x06 ? (int)(value & 1) << 2 : -1;
		break;
	case 1:
		if (b->converter_code >= 0)
			b->converter_code = converter_reads(b, b->converter_code | (int)(value >> 6 & 3));
		answer = b->converter_code >= 0 ? (uint32_t)b->converter_code >> 8 : 0xff;
		break;
	case 2:
		answer = b->converter_code >= 0 ? (uint32_t)b->converter_code & 0xff : 0xff;
		b->converter_step = 0;
		break;
	}
	avr_raise_irq(avr_io_getirq(c->avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_INPUT), answer);
}

static void pwm_set(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq, (void)value;
	sensors_follow(((core *)param)->bench);
}

void analog_attach(core *c)
{
	avr_irq_t *adc = avr_io_getirq(c->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER);
	if (adc)
		avr_irq_register_notify(adc, converting, c);
	avr_irq_t *spi = avr_io_getirq(c->avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT);
	if (spi)
		avr_irq_register_notify(spi, shifted, c);
	for (char timer = '0'; timer < '6'; timer++)
		for (int i = TIMER_IRQ_OUT_PWM0; i <= TIMER_IRQ_OUT_PWM1; i++) {
			avr_irq_t *pwm = avr_io_getirq(c->avr, AVR_IOCTL_TIMER_GETIRQ(timer), i);
			if (pwm)
				avr_irq_register_notify(pwm, pwm_set, c);
		}
}

// -- for the host ---------------------------------------------------------------------------------------------

// Channel OCnA or OCnB of core 0. The poles are those of four relays in a row, each with a second pole after it.
int sensor_add(bench *b, int timer_a, int shift, int ocr, int icr, char port, int bit, int connect, int shorted,
	       int normal, int leak)
{
	if (b->sensor_count == SENSORS)
		return -1;
	b->sensors[b->sensor_count] = (sensor){.timer_a = timer_a,
					       .shift = shift,
					       .ocr = ocr,
					       .icr = icr,
					       .port = port - 'A',
					       .bit = bit,
					       .connect = connect,
					       .shorted = shorted,
					       .normal = normal,
					       .leak = leak,
					       .tau_s = 0.0006,
					       .at_ns = b->now,
					       .series_ohm = 1000,
					       .normal_ohm = 10000,
					       .leak_ohm = 2000,
					       .load_ohm = 1e6,
					       .bias = -1};
	return b->sensor_count++;
}

// `load_ohm` to `load_v`: what the board has at its terminal.
void sensor_values(bench *b, int s, double tau_s, double series_ohm, double normal_ohm, double leak_ohm,
		   double load_ohm, double load_v, double offset_v, double converter_offset_v)
{
	sensors_follow(b);
	b->sensors[s].tau_s = tau_s;
	b->sensors[s].series_ohm = series_ohm;
	b->sensors[s].normal_ohm = normal_ohm;
	b->sensors[s].leak_ohm = leak_ohm;
	b->sensors[s].load_ohm = load_ohm;
	b->sensors[s].load_v = load_v;
	b->sensors[s].offset_v[0] = offset_v;
	b->sensors[s].offset_v[1] = converter_offset_v;
}

// The board pulls the terminal up through a resistor while this net of its is high.
void sensor_bias(bench *b, int s, int bias_net, double ohm, double board_offset_v)
{
	b->sensors[s].bias = bias_net;
	b->sensors[s].bias_ohm = ohm;
	b->sensors[s].board_offset_v = board_offset_v;
}

void channel_reads(bench *b, int core_index, int number, int kind, int of)
{
	b->channels[core_index][number] = (channel){kind, of};
}

void converter_at(bench *b, int select_net, double noise_v)
{
	b->converter_select = select_net;
	b->converter_noise_v = noise_v;
}
