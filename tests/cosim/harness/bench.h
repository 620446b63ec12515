// SPDX-License-Identifier: GPL-3.0-or-later
// Co-simulation of AVR images in one circuit, over libsimavr (GPL-3.0). A test component; never part of mitbench.
//
// Time is true time in ns. A core's cycles follow from it by the core's own frequency. What couples cores goes
// through events that lie at least one quantum ahead, so that no core runs past what another one does to it.
#ifndef COSIM_BENCH_H
#define COSIM_BENCH_H

#include <stdbool.h>
#include <stdint.h>

#include "sim_avr.h"

#define CORES 2
#define PORTS 12 // A to L
#define NETS 256
#define NET_PINS 4
#define RELAYS 48
#define POLES 96
#define NODES 64
#define BRANCHES 96
#define OPTOS 64
#define LEVELS 4
#define CONTACTS 64
#define COUPLES 8
#define SENSORS 4
#define CHANNELS 8
#define DAMAGES 64

typedef struct bench bench;
typedef void (*act)(bench *b, int a, int value, unsigned turn);

typedef struct {
	int64_t ns;
	uint64_t order;
	act act;
	int a, value;
	unsigned turn;
} event;

// What the log tells. RESET and POWER: `id` is the core.
enum { LOG_POLE, LOG_NODE, LOG_NET, LOG_POWER, LOG_RESET, LOG_HALT };

// `cycle`: of core 0 at that instant, from which its own clock follows exactly.
typedef struct {
	int64_t ns;
	uint64_t cycle;
	int32_t what, id, value;
} entry;

enum { RESET_POWER = 0, RESET_EXTERNAL = 1, RESET_BROWN_OUT = 2, RESET_WATCHDOG = 3 };

typedef struct core core;

typedef struct {
	core *core;
	int port;
} hook;

typedef struct {
	uint8_t port, ddr; // as the firmware wrote them
	uint8_t mask, value; // what comes from outside
	int16_t net[8]; // -1: not connected
	avr_irq_t *irq;
	hook hook;
} port_state;

struct core {
	bench *bench;
	int index;
	avr_t *avr;
	avr_run_t run;
	bool powered;
	double hz, drift_hz_per_s;
	uint64_t micro_hz;
	int64_t base_ns;
	uint64_t base_cycle;
	port_state ports[PORTS];
	uint8_t *sram;
	int cut_after_writes; // power is cut at this EEPROM write; 0: never
	int eeprom_writes;
};

typedef struct {
	struct {
		int8_t core, port, bit;
	} pins[NET_PINS];
	int pin_count;
	int lows; // external drivers
	int8_t pull, force; // -1: none
	int8_t level; // as resolved
	bool watched;
	int relay, couple; // whom it moves; -1: nobody
	int contentions;
} net;

typedef struct {
	int coil; // net
	int64_t operate[2], release[2], bounce_ns;
	int bounces;
	bool railed, told; // railed: its coil is fed from the supply's node
	unsigned turn;
	int first_pole, pole_count;
} relay;

typedef struct {
	int relay;
	bool normally_closed;
	int8_t force; // -1: as the relay moves it
	bool moved; // where the relay has it
	unsigned turn; // of its last move
	bool closed;
	int64_t skew_ns;
	int contact; // first contact element on it, -1: none
} pole;

typedef struct {
	bool hot;
	double rms_v; // behind the smoothing of its converter channel
	int64_t rms_ns;
} node;

typedef struct {
	int from, to, pole;
} branch;

typedef struct {
	int node, net, level;
	bool low;
} opto;

// One threshold of the sensing of AC, and whether it is passed now.
typedef struct {
	double volts;
	int64_t on_delay_ns, off_delay_ns;
	bool pulse;
} level;

typedef struct {
	int pole, net, next;
	bool low;
} contact;

typedef struct {
	int delayed_net;
	int64_t delay_ns;
	bool low;
} couple;

typedef struct {
	int timer_a, shift, ocr, icr, port, bit; // registers and pin of the PWM
	double tau_s, input_v, state_v[3];
	int64_t at_ns;
	double series_ohm, normal_ohm, leak_ohm, load_ohm, load_v, bias_ohm, board_offset_v, offset_v[2];
	int connect, shorted, normal, leak; // poles
	int bias; // net, -1: none
} sensor;

enum { READS_NOTHING, READS_RMS, READS_LADDER, READS_TERMINAL };

typedef struct {
	int kind, of;
} channel;

typedef struct {
	int to_host;
	int64_t position, length;
	int kind, value;
} damage;

enum { DAMAGE_DROP, DAMAGE_FLIP };

typedef struct {
	char uart;
	int direction; // net, -1: none
} bus_end;

struct bench {
	int64_t now, quantum;
	core *running;
	uint64_t random, order;
	event *heap;
	int events, heap_room;
	entry *log;
	int64_t logged, log_room;
	bool stop;

	core cores[CORES];
	int core_count;
	net nets[NETS];
	int net_count;
	relay relays[RELAYS];
	int relay_count;
	pole poles[POLES];
	int pole_count;
	node nodes[NODES];
	int node_count;
	branch branches[BRANCHES];
	int branch_count;
	opto optos[OPTOS];
	int opto_count;
	contact contacts[CONTACTS];
	int contact_count;
	couple couples[COUPLES];
	int couple_count;

	level levels[LEVELS];
	int level_count;
	double mains_hz, mains_v;
	bool source;
	int64_t phase_ns;
	int64_t half_cycle;

	int supply_node; // of the core that has its supply from there, -1: none
	int supply_core;
	int64_t hold_up_ns, rise_ns, charge_at;
	double charge_ns; // what is left at `charge_at`
	unsigned supply_turn;
	int64_t rail_ns;
	bool rail;

	sensor sensors[SENSORS];
	int sensor_count;
	channel channels[CORES][CHANNELS];
	int converter_select, converter_step, converter_code;
	double converter_noise_v;

	int host_core;
	int64_t byte_ns, receive_free_ns;
	uint8_t *to_core;
	int64_t sent, taken, to_core_room;
	uint8_t *to_host;
	int64_t host_ready, host_count, host_room;
	int64_t counted[2];
	damage damages[DAMAGES];
	int damage_count;
	unsigned idle_turn;

	bus_end bus[CORES];
	int bus_baud, bus_pole;
	int64_t bus_bytes[CORES], bus_cut, bus_clashes;

	uint8_t shift_byte, shift_latched;
	int shift_latch, shift_off; // nets, -1: none
	int shift_out[8]; // nets, -1: nothing there

	char wrong[200];
};

// schedule.c
int64_t bench_now(const bench *b);
void at(bench *b, int64_t ns, act act, int a, int value, unsigned turn);
uint64_t draw(bench *b);
int64_t draw_between(bench *b, int64_t least, int64_t most);
double draw_even(bench *b, double most); // in -most..most
void note(bench *b, int what, int id, int value);
void complain(bench *b, const char *text);

// cores.c
uint64_t core_cycle_at(const core *c, int64_t ns);
int64_t core_ns_at(const core *c, uint64_t cycle);
void core_run(core *c, int64_t to_ns);
int64_t core_wakes_ns(const core *c); // when it has something to do; now, if it has already
void core_input(core *c, int port, int bit, int level);
void core_power(core *c, bool on, int cause);

// nets.c
void net_resolve(bench *b, int n);
void net_pull_low(bench *b, int n, bool on); // one external driver comes or goes
void nets_of_port(bench *b, core *c, int port);

// circuit.c
void coil_changed(bench *b, int relay, bool on);
void couple_changed(bench *b, int couple, bool on);
void circuit_settle(bench *b);

// analog.c
void analog_attach(core *c);
void sensors_follow(bench *b);
void node_changes(bench *b, int n);

// link.c
void link_attach(core *c);

// bus.c
void bus_attach(core *c);
void shift_changed(bench *b, int n, bool level); // a net that the register listens to

#endif
