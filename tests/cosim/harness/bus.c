// SPDX-License-Identifier: GPL-3.0-or-later
// The bus between a UART of each core, and the register that drives relays from the first core's SPI.
#include "avr_spi.h"
#include "avr_uart.h"
#include "bench.h"

// A character on the bus is start, eight data bits, parity or a second stop bit, stop; a receiver has it in the middle
// of the last.
#define HALF_BITS 21

// -- the bus --------------------------------------------------------------------------------------------------

static int other(int core_index)
{
	return core_index == 0 ? 1 : 0;
}

static void arrives(bench *b, int to, int value, unsigned turn)
{
	(void)turn;
	core *c = &b->cores[to];
	const bus_end *from = &b->bus[other(to)];
	// The first core's receiver is at the terminals all the time, its driver behind the relay.
	bool joined = to == 0 || b->bus_pole < 0 || b->poles[b->bus_pole].closed;
	if (!joined || !c->powered)
		return;
	// A byte of which the driver let go before it was over is none.
	if (from->direction >= 0 && !b->nets[from->direction].level) {
		b->bus_cut++;
		return;
	}
	if (b->bus[to].direction >= 0 && b->nets[b->bus[to].direction].level) {
		b->bus_clashes++;
		return;
	}
	avr_raise_irq(avr_io_getirq(c->avr, AVR_IOCTL_UART_GETIRQ(b->bus[to].uart), UART_IRQ_INPUT), (uint32_t)value);
}

static void sends(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	core *c = param;
	bench *b = c->bench;
	if (b->bus_baud && c->index < 2) {
		b->bus_bytes[c->index]++;
		at(b, bench_now(b) + HALF_BITS * 500000000LL / b->bus_baud, arrives, other(c->index), (int)value, 0);
	}
}

// -- the register ---------------------------------------------------------------------------------------------

static void show(bench *b)
{
	bool off = b->shift_off < 0 || b->nets[b->shift_off].level;
	for (int bit = 0; bit < 8; bit++) {
		if (b->shift_out[bit] < 0)
			continue;
		net *w = &b->nets[b->shift_out[bit]];
		w->force = (int8_t)(off ? -1 : b->shift_latched >> bit & 1);
		net_resolve(b, b->shift_out[bit]);
	}
}

static void comes(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	((core *)param)->bench->shift_byte = (uint8_t)value;
}

void shift_changed(bench *b, int n, bool level)
{
	if (n == b->shift_latch && level)
		b->shift_latched = b->shift_byte;
	show(b);
}

// -- for the host ---------------------------------------------------------------------------------------------

void bus_attach(core *c)
{
	avr_irq_t *spi = avr_io_getirq(c->avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT);
	if (spi && c->index == 0)
		avr_irq_register_notify(spi, comes, c);
}

// `pole`: of the relay that joins the two, -1: none.
void bus_join(bench *b, int baud, int pole)
{
	b->bus_baud = baud;
	b->bus_pole = pole;
}

// A core's end: its UART, and the net that is high while it drives the line.
void bus_end_add(bench *b, int core_index, char uart, int direction_net)
{
	core *c = &b->cores[core_index];
	b->bus[core_index] = (bus_end){uart, direction_net};
	avr_irq_register_notify(avr_io_getirq(c->avr, AVR_IOCTL_UART_GETIRQ(uart), UART_IRQ_OUTPUT), sends, c);
}

// Bytes a core has sent, or what went wrong with them: 2: cut off by their own driver, 3: sent while the other drove.
int64_t bus_counted(const bench *b, int what)
{
	return what < 2 ? b->bus_bytes[what] : what == 2 ? b->bus_cut : b->bus_clashes;
}

void shift_at(bench *b, int latch_net, int off_net)
{
	b->shift_latch = latch_net;
	b->shift_off = off_net;
}

// What hangs on an output: a net with the pull that holds it while the register is off.
void shift_drives(bench *b, int bit, int n)
{
	b->shift_out[bit] = n;
	show(b);
}
