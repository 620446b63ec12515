// SPDX-License-Identifier: GPL-3.0-or-later
// Events in order of time, the loop that advances everything, chance, and the log of what truly happened.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

bench *bench_create(uint64_t seed, int64_t quantum_ns)
{
	bench *b = calloc(1, sizeof *b);
	b->random = seed;
	b->quantum = quantum_ns;
	b->supply_node = b->supply_core = b->converter_select = b->host_core = -1;
	b->shift_latch = b->shift_off = b->bus_pole = -1;
	memset(b->shift_out, -1, sizeof b->shift_out);
	return b;
}

void bench_destroy(bench *b)
{
	for (int i = 0; i < b->core_count; i++) {
		avr_terminate(b->cores[i].avr);
		free(b->cores[i].avr);
		free(b->cores[i].sram);
	}
	free(b->heap);
	free(b->log);
	free(b->to_core);
	free(b->to_host);
	free(b);
}

// In the middle of a core's run time is what its cycles say.
int64_t bench_now(const bench *b)
{
	if (!b->running)
		return b->now;
	int64_t ns = core_ns_at(b->running, b->running->avr->cycle);
	return ns > b->now ? ns : b->now;
}

static bool before(const event *x, const event *y)
{
	return x->ns != y->ns ? x->ns < y->ns : x->order < y->order;
}

void at(bench *b, int64_t ns, act act, int a, int value, unsigned turn)
{
	if (b->events == b->heap_room) {
		b->heap_room = b->heap_room ? 2 * b->heap_room : 256;
		b->heap = realloc(b->heap, (size_t)b->heap_room * sizeof *b->heap);
	}
	event e = {ns, b->order++, act, a, value, turn};
	int i = b->events++;
	for (int up; i > 0 && before(&e, &b->heap[up = (i - 1) / 2]); i = up)
		b->heap[i] = b->heap[up];
	b->heap[i] = e;
}

static event next_event(bench *b)
{
	event first = b->heap[0], last = b->heap[--b->events];
	int i = 0;
	for (int down; (down = 2 * i + 1) < b->events; i = down) {
		if (down + 1 < b->events && before(&b->heap[down + 1], &b->heap[down]))
			down++;
		if (!before(&b->heap[down], &last))
			break;
		b->heap[i] = b->heap[down];
	}
	b->heap[i] = last;
	return first;
}

// The generator splitmix64: one word of state, any seed will do.
uint64_t draw(bench *b)
{
	uint64_t z = b->random += 0x9e3779b97f4a7c15u;
	z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9u;
	z = (z ^ z >> 27) * 0x94d049bb133111ebu;
	return z ^ z >> 31;
}

int64_t draw_between(bench *b, int64_t least, int64_t most)
{
	return most > least ? least + (int64_t)(draw(b) % (uint64_t)(most - least + 1)) : least;
}

double draw_even(bench *b, double most)
{
	return most * ((double)(draw(b) >> 11) / (double)(1ull << 52) - 1.0);
}

void note(bench *b, int what, int id, int value)
{
	if (b->logged == b->log_room) {
		b->log_room = b->log_room ? 2 * b->log_room : 1024;
		b->log = realloc(b->log, (size_t)b->log_room * sizeof *b->log);
	}
	int64_t ns = bench_now(b);
	b->log[b->logged++] = (entry){ns, b->core_count ? core_cycle_at(&b->cores[0], ns) : 0, what, id, value};
}

void complain(bench *b, const char *text)
{
	if (!b->wrong[0])
		snprintf(b->wrong, sizeof b->wrong, "%s", text);
}

const char *bench_wrong(const bench *b)
{
	return b->wrong;
}

int64_t bench_time(const bench *b)
{
	return b->now;
}

int64_t bench_log(const bench *b, int64_t from, entry *into, int64_t room)
{
	int64_t count = b->logged - from;
	if (count > room)
		count = room;
	if (count > 0)
		memcpy(into, b->log + from, (size_t)count * sizeof *into);
	return count > 0 ? count : 0;
}

// Let time go to `until_ns`, or to the first instant at which the host has something to read.
void bench_run(bench *b, int64_t until_ns)
{
	b->stop = b->host_ready > 0;
	while (!b->stop && b->now < until_ns && !b->wrong[0]) {
		int64_t to = until_ns;
		if (b->events && b->heap[0].ns < to)
			to = b->heap[0].ns;
		for (int i = 0; i < b->core_count; i++) {
			int64_t wakes = core_wakes_ns(&b->cores[i]);
			if (wakes < to - b->quantum)
				to = wakes + b->quantum;
		}
		if (to < b->now)
			to = b->now;
		for (int i = 0; i < b->core_count; i++)
			core_run(&b->cores[i], to);
		b->now = to;
		while (b->events && b->heap[0].ns <= b->now) {
			event e = next_event(b);
			e.act(b, e.a, e.value, e.turn);
		}
	}
}
