// SPDX-License-Identifier: GPL-3.0-or-later
// AVR cores: made from an image, advanced to an instant, powered, reset; their pins as the circuit sees them.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "avr_eeprom.h"
#include "avr_ioport.h"
#include "avr_uart.h"
#include "bench.h"
#include "sim_elf.h"

#define MCUSR 0x54
#define EECR 0x3f
#define EEPE 1
#define SUPPLY_MV 5000
#define NOMINAL_HZ 16000000
#define TUNE_NS 100000000

static bench *complaining;

static void quiet(avr_t *avr, const int what, const char *format, va_list values)
{
	(void)avr;
	if (what > LOG_ERROR || !complaining)
		return;
	char text[200];
	vsnprintf(text, sizeof text, format, values);
	complain(complaining, text);
}

// The scheduler alone owns time: what the simulator wants to sleep is given back.
static void no_sleep(avr_t *avr, avr_cycle_count_t span)
{
	avr->cycle -= span + 1;
}

static uint64_t scaled(uint64_t value, uint64_t by, uint64_t divisor)
{
	return (uint64_t)((unsigned __int128)value * by / divisor);
}

#define MICRO_PER_NS 1000000000000000u

uint64_t core_cycle_at(const core *c, int64_t ns)
{
	return c->base_cycle + (ns > c->base_ns ? scaled((uint64_t)(ns - c->base_ns), c->micro_hz, MICRO_PER_NS) : 0);
}

int64_t core_ns_at(const core *c, uint64_t cycle)
{
	if (cycle <= c->base_cycle)
		return c->base_ns;
	return c->base_ns + (int64_t)scaled(cycle - c->base_cycle, MICRO_PER_NS, c->micro_hz) + 1;
}

static void set_rate(core *c, int64_t now)
{
	c->base_cycle = c->avr->cycle;
	c->base_ns = now;
	c->micro_hz = (uint64_t)(c->hz * 1e6);
}

// The resonator drifts: its rate is set anew ten times a second.
static void core_tune(bench *b, int index, int unused, unsigned turn)
{
	(void)unused;
	core *c = &b->cores[index];
	c->hz += c->drift_hz_per_s * (TUNE_NS / 1e9);
	int64_t reached = core_ns_at(c, c->avr->cycle);
	set_rate(c, c->powered && reached > b->now ? reached : b->now);
	at(b, b->now + TUNE_NS, core_tune, index, 0, turn);
}

static void port_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	const hook *h = param;
	port_state *p = &h->core->ports[h->port];
	if (p->port != (uint8_t)value) {
		p->port = (uint8_t)value;
		nets_of_port(h->core->bench, h->core, h->port);
	}
}

static void direction_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	const hook *h = param;
	port_state *p = &h->core->ports[h->port];
	if (p->ddr != (uint8_t)value) {
		p->ddr = (uint8_t)value;
		nets_of_port(h->core->bench, h->core, h->port);
	}
}

static void torn(bench *b, int index, int unused, unsigned turn)
{
	(void)unused, (void)turn;
	b->cores[index].powered = true; // so that it can be taken away
	core_power(&b->cores[index], false, 0);
}

static void eeprom_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)address;
	core *c = param;
	if (!(value & 1 << EEPE) || ++c->eeprom_writes != c->cut_after_writes)
		return;
	// The power goes with this byte: nothing that the firmware does after it happens.
	c->cut_after_writes = 0;
	c->powered = false;
	avr->run_cycle_count = 0;
	at(c->bench, c->bench->now, torn, c->index, 0, 0);
}

static void release_pins(core *c)
{
	for (int port = 0; port < PORTS; port++) {
		port_state *p = &c->ports[port];
		if (!p->irq)
			continue;
		p->port = p->ddr = 0;
		// After a reset the same value must be told again, though it is the last one that was told.
		p->irq[IOPORT_IRQ_REG_PORT].flags |= IRQ_FLAG_INIT;
		p->irq[IOPORT_IRQ_DIRECTION_ALL].flags |= IRQ_FLAG_INIT;
		nets_of_port(c->bench, c, port);
	}
}

static void apply_inputs(core *c)
{
	for (int port = 0; port < PORTS; port++)
		for (int bit = 0; bit < 8; bit++)
			if (c->ports[port].mask >> bit & 1)
				core_input(c, port, bit, c->ports[port].value >> bit & 1);
}

void core_input(core *c, int port, int bit, int high)
{
	port_state *p = &c->ports[port];
	uint8_t mask = (uint8_t)(1 << bit);
	p->mask |= mask;
	p->value = (uint8_t)(high ? p->value | mask : p->value & ~mask);
	if (!c->powered || !p->irq || p->ddr & mask)
		return;
	// Without this any write to the port would read a pulled-up input high again.
	avr_ioport_external_t outside = {.name = (unsigned)('A' + port), .mask = p->mask, .value = p->value};
	avr_ioctl(c->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('A' + port), &outside);
	avr_raise_irq(p->irq + bit, (uint32_t)high);
}

// After a reset every pin reads 0 to the simulator, and has not been told otherwise. A 0 must not be told again: on
// the pin of an external interrupt that is not yet set to edges it would be polled from then on, every cycle.
static void forget_inputs(core *c)
{
	for (int port = 0; port < PORTS; port++)
		for (int bit = 0; bit < 8 && c->ports[port].irq; bit++) {
			c->ports[port].irq[bit].value = 0;
			c->ports[port].irq[bit].flags &= (uint8_t)~IRQ_FLAG_INIT;
		}
}

// After the simulator's own reset: causes, pins and rate.
static void came_up(core *c, int cause, uint8_t earlier_causes)
{
	avr_t *avr = c->avr;
	avr->data[MCUSR] = (uint8_t)(1 << cause | (cause == RESET_POWER ? 0 : earlier_causes));
	avr->state = cpu_Running;
	set_rate(c, bench_now(c->bench));
	forget_inputs(c);
	release_pins(c);
	apply_inputs(c);
	note(c->bench, LOG_RESET, c->index, cause);
}

static void reset(core *c, int cause)
{
	avr_t *avr = c->avr;
	uint8_t causes = avr->data[MCUSR];
	uint64_t cycle = avr->cycle;
	size_t ram = avr->ioend + 1u, size = avr->ramend - avr->ioend;
	memcpy(c->sram, avr->data + ram, size);
	avr_reset(avr);
	if (cause == RESET_POWER || cause == RESET_BROWN_OUT)
		for (size_t i = 0; i < size; i++)
			c->sram[i] = (uint8_t)draw(c->bench);
	memcpy(avr->data + ram, c->sram, size);
	if (avr->cycle < cycle)
		avr->cycle = cycle;
	came_up(c, cause, causes);
}

void core_power(core *c, bool on, int cause)
{
	if (c->powered == on)
		return;
	c->powered = on;
	note(c->bench, LOG_POWER, c->index, on);
	if (on) {
		reset(c, cause);
	} else {
		release_pins(c);
		sensors_follow(c->bench);
	}
}

static bool idle(const core *c)
{
	return c->avr->state == cpu_Sleeping && !avr_has_pending_interrupts(c->avr);
}

int64_t core_wakes_ns(const core *c)
{
	if (!c->powered)
		return INT64_MAX / 2;
	if (!idle(c))
		return c->bench->now;
	const avr_cycle_timer_slot_t *timer = c->avr->cycle_timers.timer;
	return timer ? core_ns_at(c, timer->when) : INT64_MAX / 2;
}

// A watchdog reset shows only as another run function for one turn; the simulator loses the SRAM in it.
static void watchdog_reset(core *c)
{
	avr_t *avr = c->avr;
	uint8_t causes = avr->data[MCUSR];
	uint64_t cycle = avr->cycle;
	size_t ram = avr->ioend + 1u, size = avr->ramend - avr->ioend;
	memcpy(c->sram, avr->data + ram, size);
	avr->run(avr);
	memcpy(avr->data + ram, c->sram, size);
	if (avr->cycle < cycle)
		complain(c->bench, "the simulator's cycles went back at a watchdog reset");
	avr->run = c->run;
	came_up(c, RESET_WATCHDOG, causes);
}

void core_run(core *c, int64_t to_ns)
{
	avr_t *avr = c->avr;
	if (!c->powered)
		return;
	c->bench->running = c;
	uint64_t until = core_cycle_at(c, to_ns);
	while (c->powered && avr->cycle < until) {
		uint64_t next = avr->cycle_timers.timer ? avr->cycle_timers.timer->when : UINT64_MAX;
		if (next > until)
			next = until;
		if (idle(c)) {
			if (next > avr->cycle)
				avr->cycle = next;
			if (next == until && (!avr->cycle_timers.timer || avr->cycle_timers.timer->when > until))
				break;
			avr->run_cycle_limit = 1;
			avr->run(avr);
		} else {
			uint64_t limit = next > avr->cycle ? next - avr->cycle : 1;
			avr->run_cycle_limit = avr->run_cycle_count = limit;
			avr->run(avr);
		}
		if (avr->run != c->run)
			watchdog_reset(c);
		if (avr->state == cpu_Done || avr->state == cpu_Crashed) {
			note(c->bench, LOG_HALT, c->index, avr->state);
			complain(c->bench, avr->state == cpu_Done ? "a core slept with interrupts off" : "a core crashed");
			break;
		}
	}
	c->bench->running = NULL;
}

// -- for the host ---------------------------------------------------------------------------------------------

int core_add(bench *b, const char *mcu, double hz, double drift_hz_per_s, const char *image)
{
	if (b->core_count == CORES)
		return -1;
	complaining = b;
	avr_global_logger_set(quiet);
	elf_firmware_t firmware;
	memset(&firmware, 0, sizeof firmware);
	if (elf_read_firmware(image, &firmware) != 0)
		return -1;
	avr_t *avr = avr_make_mcu_by_name(mcu);
	if (!avr)
		return -1;
	core *c = &b->cores[b->core_count];
	*c = (core){.bench = b, .index = b->core_count, .avr = avr, .hz = hz, .drift_hz_per_s = drift_hz_per_s};
	avr_init(avr);
	avr->log = LOG_ERROR;
	// The simulator counts cycles from the nominal rate, and badly from any that is not round. How long a cycle
	// truly lasts is ours alone.
	firmware.frequency = NOMINAL_HZ;
	firmware.vcc = firmware.avcc = firmware.aref = SUPPLY_MV;
	avr_load_firmware(avr, &firmware);
	avr->frequency = NOMINAL_HZ;
	avr->vcc = avr->avcc = avr->aref = SUPPLY_MV;
	avr->sleep = no_sleep;
	c->run = avr->run;
	c->sram = malloc(avr->ramend - avr->ioend);
	for (int port = 0; port < PORTS; port++) {
		port_state *p = &c->ports[port];
		memset(p->net, -1, sizeof p->net);
		p->irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('A' + port), 0);
		if (!p->irq)
			continue;
		p->hook = (hook){c, port};
		avr_irq_register_notify(p->irq + IOPORT_IRQ_REG_PORT, port_written, &p->hook);
		avr_irq_register_notify(p->irq + IOPORT_IRQ_DIRECTION_ALL, direction_written, &p->hook);
	}
	for (char name = '0'; name < '4'; name++) {
		uint32_t flags = 0;
		avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS(name), &flags);
	}
	avr_register_io_write(avr, EECR, eeprom_written, c);
	analog_attach(c);
	link_attach(c);
	bus_attach(c);
	set_rate(c, b->now);
	if (drift_hz_per_s != 0)
		at(b, b->now + TUNE_NS, core_tune, c->index, 0, 0);
	return b->core_count++;
}

void core_set_power(bench *b, int index, bool on, int cause)
{
	core_power(&b->cores[index], on, cause);
	circuit_settle(b);
}

void core_reset(bench *b, int index, int cause)
{
	if (b->cores[index].powered)
		reset(&b->cores[index], cause);
}

// The supply goes with the n-th byte written to the EEPROM from now on.
void core_cut_at_write(bench *b, int index, int n)
{
	b->cores[index].cut_after_writes = b->cores[index].eeprom_writes + n;
}

void core_eeprom(bench *b, int index, uint8_t *bytes, int offset, int size, bool store)
{
	avr_eeprom_desc_t what = {.ee = bytes, .offset = (uint16_t)offset, .size = (uint32_t)size};
	avr_ioctl(b->cores[index].avr, store ? AVR_IOCTL_EEPROM_SET : AVR_IOCTL_EEPROM_GET, &what);
}

int core_register(const bench *b, int index, int address)
{
	return b->cores[index].avr->data[address];
}

bool core_powered(const bench *b, int index)
{
	return b->cores[index].powered;
}

// Its cycles now; a sleeping core is behind, so they follow from the time.
uint64_t core_cycles(const bench *b, int index)
{
	return core_cycle_at(&b->cores[index], b->now);
}

// A register or a byte of SRAM comes to hold something else, whatever the firmware does.
void core_poke(bench *b, int index, int address, int value)
{
	b->cores[index].avr->data[address] = (uint8_t)value;
}
