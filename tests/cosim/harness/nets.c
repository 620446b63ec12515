// SPDX-License-Identifier: GPL-3.0-or-later
// Nets: what a wire is at, from who drives it. A fault beats a driver, a driver beats a pull.
#include "bench.h"

static bool pulled_up_inside(const core *c, int port, int bit)
{
	const port_state *p = &c->ports[port];
	return c->powered && !(p->ddr >> bit & 1) && p->port >> bit & 1;
}

void net_resolve(bench *b, int n)
{
	net *w = &b->nets[n];
	int highs = 0, lows = w->lows;
	bool pull_up = w->pull == 1;
	for (int i = 0; i < w->pin_count; i++) {
		const core *c = &b->cores[w->pins[i].core];
		const port_state *p = &c->ports[w->pins[i].port];
		if (c->powered && p->ddr >> w->pins[i].bit & 1) {
			if (p->port >> w->pins[i].bit & 1)
				highs++;
			else
				lows++;
		} else if (pulled_up_inside(c, w->pins[i].port, w->pins[i].bit)) {
			pull_up = true;
		}
	}
	if (highs && lows)
		w->contentions++;
	int8_t level = w->force >= 0 ? w->force : lows ? 0 : highs ? 1 : pull_up;
	bool changed = level != w->level;
	w->level = level;
	for (int i = 0; i < w->pin_count; i++) {
		core *c = &b->cores[w->pins[i].core];
		const port_state *p = &c->ports[w->pins[i].port];
		if (changed || (p->value >> w->pins[i].bit & 1) != level || !(p->mask >> w->pins[i].bit & 1))
			core_input(c, w->pins[i].port, w->pins[i].bit, level);
	}
	if (!changed)
		return;
	if (w->watched)
		note(b, LOG_NET, n, level);
	if (w->relay >= 0)
		coil_changed(b, w->relay, level);
	if (w->couple >= 0)
		couple_changed(b, w->couple, level);
	if (n == b->shift_latch || n == b->shift_off)
		shift_changed(b, n, level);
}

void net_pull_low(bench *b, int n, bool on)
{
	b->nets[n].lows += on ? 1 : -1;
	net_resolve(b, n);
}

void nets_of_port(bench *b, core *c, int port)
{
	for (int bit = 0; bit < 8; bit++)
		if (c->ports[port].net[bit] >= 0)
			net_resolve(b, c->ports[port].net[bit]);
}

// -- for the host ---------------------------------------------------------------------------------------------

// `pull`: 0 or 1 from outside, -1 none. `watched`: every change goes into the log.
int net_add(bench *b, int pull, bool watched)
{
	if (b->net_count == NETS)
		return -1;
	b->nets[b->net_count] =
		(net){.pull = (int8_t)pull, .force = -1, .level = pull == 1, .watched = watched, .relay = -1, .couple = -1};
	return b->net_count++;
}

bool net_join(bench *b, int n, int core_index, char port, int bit)
{
	net *w = &b->nets[n];
	core *c = &b->cores[core_index];
	if (w->pin_count == NET_PINS || !c->ports[port - 'A'].irq || c->ports[port - 'A'].net[bit] >= 0)
		return false;
	w->pins[w->pin_count].core = (int8_t)core_index;
	w->pins[w->pin_count].port = (int8_t)(port - 'A');
	w->pins[w->pin_count++].bit = (int8_t)bit;
	c->ports[port - 'A'].net[bit] = (int16_t)n;
	net_resolve(b, n);
	return true;
}

// A net that is stuck at a level; -1 frees it.
void net_force(bench *b, int n, int stuck)
{
	b->nets[n].force = (int8_t)stuck;
	net_resolve(b, n);
}

int net_level(const bench *b, int n)
{
	return b->nets[n].level;
}

int net_contentions(const bench *b, int n)
{
	return b->nets[n].contentions;
}
