// SPDX-License-Identifier: GPL-3.0-or-later
// What lies between the cores: relays, the 24 VAC that goes through their contacts, how it is sensed, and the supply.
#include <math.h>

#include "bench.h"

#define PI 3.14159265358979323846
// Contacts that bounce touch and part for at least and at most this long at a time.
#define BOUNCE_LEAST_NS 20000
#define BOUNCE_PART_NS 1000000
#define BOUNCE_LATER_NS 300000

// -- relays ---------------------------------------------------------------------------------------------------

static void contacts_follow(bench *b, int p)
{
	for (int i = b->poles[p].contact; i >= 0; i = b->contacts[i].next) {
		contact *k = &b->contacts[i];
		if (k->low == b->poles[p].closed)
			continue;
		k->low = b->poles[p].closed;
		net_pull_low(b, k->net, k->low);
	}
}

static void pole_settle(bench *b, int p)
{
	pole *o = &b->poles[p];
	bool closed = o->force >= 0 ? o->force : o->moved != o->normally_closed;
	if (closed == o->closed)
		return;
	o->closed = closed;
	note(b, LOG_POLE, p, closed);
	contacts_follow(b, p);
	circuit_settle(b);
}

static void pole_bounces(bench *b, int p, int moved, unsigned turn)
{
	if (b->relays[b->poles[p].relay].turn != turn || b->poles[p].turn != turn)
		return;
	b->poles[p].moved = moved;
	pole_settle(b, p);
}

// The first move; contacts that are there already do not bounce either.
static void pole_moves(bench *b, int p, int moved, unsigned turn)
{
	if (b->relays[b->poles[p].relay].turn != turn || b->poles[p].moved == moved)
		return;
	b->poles[p].turn = turn;
	pole_bounces(b, p, moved, turn);
}

// A coil was told: each pole makes its first move after the delay, and bounces.
void coil_changed(bench *b, int index, bool on)
{
	relay *r = &b->relays[index];
	on = on && (b->rail || !r->railed);
	if (on == r->told)
		return;
	r->told = on;
	unsigned turn = ++r->turn;
	const int64_t *delay = on ? r->operate : r->release;
	int64_t first = bench_now(b) + draw_between(b, delay[0], delay[1]);
	for (int i = 0; i < r->pole_count; i++) {
		int p = r->first_pole + i;
		int64_t ns = first + draw_between(b, -b->poles[p].skew_ns, b->poles[p].skew_ns);
		at(b, ns, pole_moves, p, on, turn);
		if (r->bounce_ns < 2 || r->bounces < 1)
			continue;
		// Closing contacts bounce more than opening ones.
		bool closes = on != b->poles[p].normally_closed;
		int count = (int)draw_between(b, closes, closes ? r->bounces : (r->bounces + 1) / 2);
		int64_t step = count ? r->bounce_ns / (2 * count) : 0;
		if (step > BOUNCE_PART_NS)
			step = BOUNCE_PART_NS;
		for (int k = 0; k < count; k++) {
			// Only the first touch may be a short one: the later ones have less speed to lose.
			int64_t least = k == 0 ? BOUNCE_LEAST_NS : BOUNCE_LATER_NS;
			int64_t leaves = ns + draw_between(b, least, step > least ? step : least);
			ns = leaves + draw_between(b, BOUNCE_LEAST_NS, step);
			at(b, leaves, pole_bounces, p, !on, turn);
			at(b, ns, pole_bounces, p, on, turn);
		}
	}
}

// Times in ns. The relay is told by the level of `coil`.
int relay_add(bench *b, int coil, int64_t operate_least, int64_t operate_most, int64_t release_least,
	      int64_t release_most, int64_t bounce_ns, int bounces)
{
	if (b->relay_count == RELAYS)
		return -1;
	b->relays[b->relay_count] = (relay){.coil = coil,
					    .operate = {operate_least, operate_most},
					    .release = {release_least, release_most},
					    .bounce_ns = bounce_ns,
					    .bounces = bounces,
					    .first_pole = b->pole_count};
	b->nets[coil].relay = b->relay_count;
	return b->relay_count++;
}

// The coil of the relay that was added last is fed from the node of `supply_from`.
void relay_on_rail(bench *b)
{
	b->relays[b->relay_count - 1].railed = true;
}

// One more pole of the relay that was added last.
int pole_add(bench *b, bool normally_closed, int64_t skew_ns)
{
	if (b->pole_count == POLES || !b->relay_count)
		return -1;
	b->poles[b->pole_count] = (pole){.relay = b->relay_count - 1,
					 .normally_closed = normally_closed,
					 .force = -1,
					 .closed = normally_closed,
					 .skew_ns = skew_ns,
					 .contact = -1};
	b->relays[b->relay_count - 1].pole_count++;
	return b->pole_count++;
}

// A contact that is welded (1) or never closes (0); -1 frees it.
void pole_force(bench *b, int p, int stuck)
{
	b->poles[p].force = (int8_t)stuck;
	pole_settle(b, p);
}

bool pole_closed(const bench *b, int p)
{
	return b->poles[p].closed;
}

// `net` is pulled low while the pole is closed.
bool contact_add(bench *b, int p, int n)
{
	if (b->contact_count == CONTACTS)
		return false;
	b->contacts[b->contact_count] = (contact){.pole = p, .net = n, .next = b->poles[p].contact};
	b->poles[p].contact = b->contact_count++;
	contacts_follow(b, p);
	return true;
}

// -- what one board's lamp does to another's pick-up ----------------------------------------------------------

static void couple_arrives(bench *b, int index, int on, unsigned turn)
{
	couple *c = &b->couples[index];
	(void)turn;
	if (c->low == (bool)on)
		return;
	c->low = on;
	net_pull_low(b, c->delayed_net, on);
}

void couple_changed(bench *b, int index, bool on)
{
	couple *c = &b->couples[index];
	at(b, bench_now(b) + c->delay_ns, couple_arrives, index, on, 0);
}

// `to` is pulled low while `from` is high.
bool couple_add(bench *b, int from, int to, int64_t delay_ns)
{
	if (b->couple_count == COUPLES)
		return false;
	b->couples[b->couple_count] = (couple){.delayed_net = to, .delay_ns = delay_ns};
	b->nets[from].couple = b->couple_count++;
	return true;
}

// -- 24 VAC ---------------------------------------------------------------------------------------------------

static void opto_settle(bench *b, opto *o)
{
	bool low = b->nodes[o->node].hot && b->levels[o->level].pulse;
	if (low == o->low)
		return;
	o->low = low;
	net_pull_low(b, o->net, low);
}

static void optos_follow(bench *b, int level)
{
	for (int i = 0; i < b->opto_count; i++)
		if (b->optos[i].level == level)
			opto_settle(b, &b->optos[i]);
}

static void pulse(bench *b, int level, int on, unsigned turn)
{
	(void)turn;
	b->levels[level].pulse = on;
	optos_follow(b, level);
}

static int64_t crossing(const bench *b, int64_t half_cycle)
{
	return b->phase_ns + (int64_t)((long double)half_cycle * 5e8L / (long double)b->mains_hz);
}

// At a zero crossing: when each threshold is passed in the half cycle that begins.
static void half_cycle(bench *b, int unused, int value, unsigned turn)
{
	(void)unused, (void)value, (void)turn;
	int64_t start = crossing(b, b->half_cycle), end = crossing(b, b->half_cycle + 1);
	for (int i = 0; i < b->level_count; i++) {
		const level *l = &b->levels[i];
		double share = l->volts / (b->mains_v * sqrt(2.0));
		if (share >= 1.0)
			continue;
		int64_t blind = (int64_t)(asin(share) / (2 * PI * b->mains_hz) * 1e9);
		at(b, start + blind + l->on_delay_ns, pulse, i, true, 0);
		at(b, end - blind + l->off_delay_ns, pulse, i, false, 0);
	}
	b->half_cycle++;
	at(b, end, half_cycle, 0, 0, 0);
}

static void supply_acts(bench *b, int on, int value, unsigned turn)
{
	(void)value;
	if (turn == b->supply_turn)
		core_power(&b->cores[b->supply_core], on, on ? RESET_POWER : RESET_BROWN_OUT);
}

static void rail_follows(bench *b, int unused, int on, unsigned turn)
{
	(void)unused;
	if (turn != b->supply_turn)
		return;
	b->rail = on;
	for (int i = 0; i < b->relay_count; i++)
		if (b->relays[i].railed)
			coil_changed(b, i, b->nets[b->relays[i].coil].level);
}

// The board's own DC supply: a reservoir that lasts for `hold_up_ns` and is full again after `rise_ns` of voltage.
static void supply_follows(bench *b, bool hot)
{
	int64_t now = bench_now(b), span = now - b->charge_at;
	unsigned turn = ++b->supply_turn;
	double fill = (double)b->hold_up_ns / (double)b->rise_ns;
	b->charge_ns += hot ? -(double)span : fill * (double)span; // it was the other way until now
	b->charge_ns = fmin(fmax(b->charge_ns, 0), (double)b->hold_up_ns);
	b->charge_at = now;
	double left = hot ? ((double)b->hold_up_ns - b->charge_ns) / fill : b->charge_ns;
	at(b, now + (int64_t)left, supply_acts, hot, 0, turn);
	at(b, now + (hot ? 0 : b->rail_ns), rail_follows, 0, hot, turn);
}

// Who has voltage now: branches lead from one node to the next until nothing changes any more.
void circuit_settle(bench *b)
{
	bool hot[NODES] = {b->source};
	for (bool more = true; more;) {
		more = false;
		for (int i = 0; i < b->branch_count; i++) {
			const branch *r = &b->branches[i];
			if (hot[r->from] && !hot[r->to] && b->poles[r->pole].closed)
				more = hot[r->to] = true;
		}
	}
	for (int i = 0; i < b->node_count; i++) {
		if (hot[i] == b->nodes[i].hot)
			continue;
		node_changes(b, i);
		b->nodes[i].hot = hot[i];
		note(b, LOG_NODE, i, hot[i]);
		if (i == b->supply_node)
			supply_follows(b, hot[i]);
		for (int k = 0; k < b->opto_count; k++)
			if (b->optos[k].node == i)
				opto_settle(b, &b->optos[k]);
	}
}

// Node 0 is the source. One call, before the first opto.
void mains_set(bench *b, double hz, double volts_rms, int64_t phase_ns)
{
	b->mains_hz = hz;
	b->mains_v = volts_rms;
	b->phase_ns = phase_ns;
	b->node_count = b->node_count ? b->node_count : 1;
	at(b, phase_ns, half_cycle, 0, 0, 0);
}

void mains_on(bench *b, bool on)
{
	b->source = on;
	circuit_settle(b);
}

int node_add(bench *b)
{
	return b->node_count == NODES ? -1 : b->node_count++;
}

// A pole between two nodes.
bool branch_add(bench *b, int from, int to, int p)
{
	if (b->branch_count == BRANCHES)
		return false;
	b->branches[b->branch_count++] = (branch){from, to, p};
	circuit_settle(b);
	return true;
}

bool node_hot(const bench *b, int n)
{
	return b->nodes[n].hot;
}

int level_add(bench *b, double volts, int64_t on_delay_ns, int64_t off_delay_ns)
{
	if (b->level_count == LEVELS)
		return -1;
	b->levels[b->level_count] = (level){volts, on_delay_ns, off_delay_ns, false};
	return b->level_count++;
}

// `net` is pulled low while the node's instantaneous voltage is beyond the level.
bool opto_add(bench *b, int n, int to_net, int at_level)
{
	if (b->opto_count == OPTOS)
		return false;
	b->optos[b->opto_count++] = (opto){n, to_net, at_level, false};
	optos_follow(b, at_level);
	return true;
}

// `rail_ns`: how long the coils of its relays hold without supply.
void supply_from(bench *b, int index, int n, int64_t hold_up_ns, int64_t rise_ns, int64_t rail_ns)
{
	b->rail_ns = rail_ns;
	b->supply_core = index;
	b->supply_node = n;
	b->hold_up_ns = hold_up_ns;
	b->rise_ns = rise_ns;
}
