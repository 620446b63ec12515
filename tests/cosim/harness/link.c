// SPDX-License-Identifier: GPL-3.0-or-later
// The host's link to a core's first UART: bytes at their pace, and what can happen to them on the way.
#include <stdlib.h>
#include <string.h>

#include "avr_uart.h"
#include "bench.h"

// What the core sent is handed over at the end of a line, at this many bytes, or after this long without one.
#define PACKET 62
#define PACKET_NS 1000000
// Registers of the first UART, the same in both parts.
#define UCSR0A 0xc0
#define UBRR0L 0xc4

// True: this byte does not arrive. It may come changed.
static bool damaged(bench *b, int to_host, uint8_t *byte)
{
	int64_t position = b->counted[to_host]++;
	for (int i = 0; i < b->damage_count; i++) {
		const damage *d = &b->damages[i];
		if (d->to_host != to_host || position < d->position || position >= d->position + d->length)
			continue;
		if (d->kind == DAMAGE_DROP)
			return true;
		*byte = (uint8_t)(*byte ^ d->value);
	}
	return false;
}

static void put(uint8_t **bytes, int64_t *count, int64_t *room, uint8_t byte)
{
	if (*count == *room) {
		*room = *room ? 2 * *room : 1024;
		*bytes = realloc(*bytes, (size_t)*room);
	}
	(*bytes)[(*count)++] = byte;
}

static void hand_over(bench *b)
{
	b->host_ready = b->host_count;
	if (b->host_ready)
		b->stop = true;
}

static void still_idle(bench *b, int unused, int value, unsigned turn)
{
	(void)unused, (void)value;
	if (turn == b->idle_turn)
		hand_over(b);
}

static void arrives_at_host(bench *b, int unused, int value, unsigned turn)
{
	(void)unused, (void)turn;
	uint8_t byte = (uint8_t)value;
	if (damaged(b, 1, &byte))
		return;
	put(&b->to_host, &b->host_count, &b->host_room, byte);
	b->idle_turn++;
	if (byte == '\n' || b->host_count - b->host_ready >= PACKET)
		hand_over(b);
	else
		at(b, b->now + PACKET_NS, still_idle, 0, 0, b->idle_turn);
}

static void core_sends(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	core *c = param;
	if (c->index == c->bench->host_core)
		at(c->bench, bench_now(c->bench) + c->bench->byte_ns, arrives_at_host, 0, (int)value, 0);
}

static void arrives_at_core(bench *b, int unused, int value, unsigned turn)
{
	(void)unused, (void)value, (void)turn;
	uint8_t byte = b->to_core[b->taken++];
	if (b->taken == b->sent)
		b->taken = b->sent = 0;
	core *c = &b->cores[b->host_core];
	if (!damaged(b, 0, &byte) && c->powered)
		avr_raise_irq(avr_io_getirq(c->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
}

// The simulator works out the rate when the divider is written, a real part all the time: where the doubling bit comes
// after the divider, the divider is written once more.
static void doubled(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)address, (void)value, (void)param;
	avr_io_addr_t divider = AVR_DATA_TO_IO(UBRR0L);
	if (avr->io[divider].w.c)
		avr->io[divider].w.c(avr, UBRR0L, avr->data[UBRR0L], avr->io[divider].w.param);
}

void link_attach(core *c)
{
	avr_register_io_write(c->avr, UCSR0A, doubled, NULL);
	avr_irq_t *out = avr_io_getirq(c->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT);
	if (out)
		avr_irq_register_notify(out, core_sends, c);
}

// -- for the host ---------------------------------------------------------------------------------------------

void link_to(bench *b, int core_index, int64_t byte_ns)
{
	b->host_core = core_index;
	b->byte_ns = byte_ns;
}

void link_send(bench *b, const uint8_t *bytes, int64_t count)
{
	if (b->receive_free_ns < b->now)
		b->receive_free_ns = b->now;
	for (int64_t i = 0; i < count; i++) {
		put(&b->to_core, &b->sent, &b->to_core_room, bytes[i]);
		b->receive_free_ns += b->byte_ns;
		at(b, b->receive_free_ns, arrives_at_core, 0, 0, 0);
	}
}

int64_t link_take(bench *b, uint8_t *into, int64_t room)
{
	int64_t count = b->host_ready < room ? b->host_ready : room;
	memcpy(into, b->to_host, (size_t)count);
	memmove(b->to_host, b->to_host + count, (size_t)(b->host_count - count));
	b->host_ready -= count;
	b->host_count -= count;
	return count;
}

// `length` bytes from `position` on, counted from the beginning of the link, are dropped or have `value` XORed.
bool link_damage(bench *b, int to_host, int64_t position, int64_t length, int kind, int value)
{
	if (b->damage_count == DAMAGES)
		return false;
	b->damages[b->damage_count++] = (damage){to_host, position, length, kind, value};
	return true;
}

int64_t link_counted(const bench *b, int to_host)
{
	return b->counted[to_host];
}
