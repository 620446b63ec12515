#include "host.h"

#include "defects.h"

#include <stdlib.h>
#include <string.h>

enum {
    START_US = 5000,          /* from the supply to the first instruction */
    WATCHDOG_US = 500000,
    EEPROM_BYTE_US = 3400,
    COIL_US = 50000,          /* the relays' own supply lasts this long */
    EDGES = 3,                /* of one move: close, bounce open, close */
    WAITING = 64,             /* changes not yet taken */
    LOOK_AHEAD_US = 5000000,
    BUS_WAITING = 300,        /* bytes that come over the bus */
    OPEN_MV = 5000,           /* what a terminal with nothing at it reads */
    BLIND_US = 1200           /* the optos conduct from this long after a zero crossing to this long before */
};

typedef struct {
    bool coil, closed;
    int64_t edge_us[EDGES];
    uint8_t edges, edge;      /* how many are to come, and the next */
} relay;

struct host {
    uint8_t image[IMAGE_BYTES];
    uint8_t store[STORE_BYTES];
    uint8_t feed[RELAYS];     /* the call that each switches; NO_CALL: R */
    uint32_t half_us, phase_us, chance;
    uint32_t tick_us_1024;    /* the controller's millisecond in 1/1024 us: its crystal is not exact */
    int64_t last_us;          /* the capacitor lasts this long */
    board core;
    bool alive;
    int64_t now_us, start_us, ticks, fed_us, eeprom_us;
    bool supply, button;
    int64_t supply_us;        /* when it last came or went */
    uint32_t calls, troubles, millivolts[SENSORS];
    board_outputs out;
    relay relays[OUTPUTS];
    host_change waiting[WAITING];
    uint32_t first, count;
    uint32_t tear, resets;
    struct {
        uint8_t byte;
        int64_t at_us;
    } coming[BUS_WAITING];    /* from the sensor */
    uint32_t coming_first, coming_count;
    bool asked;               /* a question that nobody has taken yet */
    int64_t asked_us;
};

static uint32_t chance(host *h, uint32_t below)
{
    h->chance = h->chance * 1664525u + 1013904223u;
    return (uint32_t)(((uint64_t)h->chance * below) >> 32);
}

/* -- terminals -- */

static bool contact(const host *h, uint32_t terminal)
{
    return terminal == ALARM_NC ? !h->relays[ALARM_NC].closed : h->relays[terminal].closed;
}

static bool terminal_on(const host *h, uint32_t terminal)
{
    if (terminal == LIGHT) {
        return h->alive && h->out.light;
    }
    if (terminal >= RELAYS) {
        return contact(h, terminal);
    }
    const uint8_t feed = h->feed[terminal];
    const bool fed = feed == NO_CALL ? h->supply : (h->calls >> feed & 1u) != 0u;
    return fed && contact(h, terminal);
}

static void show(host *h, uint32_t before, int64_t at_us)
{
    for (uint32_t t = 0; t < TERMINALS; t++) {
        const bool on = terminal_on(h, t);
        if (on != ((before >> t & 1u) != 0u) && h->count < WAITING) {
            h->waiting[(h->first + h->count++) % WAITING] = (host_change){at_us, (int32_t)t, on};
        }
    }
}

static uint32_t showing(const host *h)
{
    uint32_t shown = 0;
    for (uint32_t t = 0; t < TERMINALS; t++) {
        shown |= (terminal_on(h, t) ? 1u : 0u) << t;
    }
    return shown;
}

/* -- relays -- */

static void feed_coil(host *h, relay *r, bool on)
{
    if (r->coil == on) {
        return;
    }
    r->coil = on;
    r->edge = 0;
    const int64_t first = h->now_us + (on ? 5500 + (int64_t)chance(h, 3000) : 3500 + (int64_t)chance(h, 3000));
    r->edge_us[0] = first;
    r->edges = (uint8_t)(r->closed == on ? 0 : 1);
    if (on && r->edges > 0u && chance(h, 2) == 0u) {
        r->edge_us[1] = first + 300 + (int64_t)chance(h, 800);
        r->edge_us[2] = r->edge_us[1] + 200 + (int64_t)chance(h, 800);
        r->edges = EDGES;
    }
}

static int64_t next_edge(const host *h)
{
    int64_t next = INT64_MAX;
    for (uint32_t i = 0; i < OUTPUTS; i++) {
        const relay *r = &h->relays[i];
        if (r->edge < r->edges && r->edge_us[r->edge] < next) {
            next = r->edge_us[r->edge];
        }
    }
    return next;
}

static void move_relays(host *h)
{
    const uint32_t before = showing(h);
    for (uint32_t i = 0; i < OUTPUTS; i++) {
        relay *r = &h->relays[i];
        while (r->edge < r->edges && r->edge_us[r->edge] <= h->now_us) {
            r->closed = !r->closed;
            r->edge++;
        }
    }
    show(h, before, h->now_us);
}

static void feed_coils(host *h)
{
    const bool fed = h->supply || h->now_us - h->supply_us < COIL_US;
    for (uint32_t i = 0; i < RELAYS; i++) {
        feed_coil(h, &h->relays[i], fed && h->alive && (h->out.relays >> i & 1u) != 0u);
    }
    for (uint32_t i = 0; i < ALARMS; i++) {
        feed_coil(h, &h->relays[ALARM_NO + i], fed && h->alive && (h->out.alarms >> i & 1u) != 0u);
    }
}

/* -- the controller -- */

static void start(host *h, start_cause cause, int64_t at_us)
{
    board_start(&h->core, h->image, h->store, cause);
    h->out = (board_outputs){.alive = true};
    h->alive = true;
    h->start_us = h->fed_us = at_us;
    h->ticks = 0;
}

static void stop(host *h)
{
    h->alive = false;
    h->out = (board_outputs){.alive = false};
    feed_coils(h);
}

static bool conducts(const host *h, bool voltage)
{
    const uint32_t into = (uint32_t)((h->now_us + h->phase_us) % h->half_us);
    return voltage && into >= BLIND_US && into <= h->half_us - BLIND_US;
}

static void write_byte(host *h)
{
    h->eeprom_us = h->now_us + EEPROM_BYTE_US;
    if (h->tear > 0u && --h->tear == 0u) {
        h->store[h->out.store_address] = 0xFFu;
        stop(h);
        return;
    }
    h->store[h->out.store_address] = h->out.store_value;
}

static int64_t next_tick(const host *h)
{
    return h->alive ? h->start_us + ((h->ticks + 1) * h->tick_us_1024 >> 10) : INT64_MAX;
}

static void tick(host *h)
{
    h->ticks++;
    if (!h->supply && h->now_us - h->supply_us > h->last_us) {
        stop(h);
        return;
    }
    const bool conducting = conducts(h, true);
    board_inputs in = {
        .calls = (uint8_t)(conducting ? h->calls : 0u),
        .supply = conducting && h->supply,
        .button = h->button,
        .troubles = (uint8_t)h->troubles,
        .store_ready = h->now_us >= h->eeprom_us,
    };
    for (uint32_t i = 0; i < SENSORS; i++) {
        const uint32_t code = h->millivolts[i] * 1024u / 5000u + chance(h, 3);
        in.sensor_mv[i] = sensor_millivolts((uint16_t)(code < 1u ? 0u : code > 1024u ? 1023u : code - 1u));
    }
    while (h->coming_count > 0u && h->coming[h->coming_first].at_us <= h->now_us && in.bus_count < BUS_TICK_BYTES) {
        in.bus[in.bus_count++] = h->coming[h->coming_first].byte;
        h->coming_first = (h->coming_first + 1u) % BUS_WAITING;
        h->coming_count--;
    }
    board_tick(&h->core, &in, &h->out);
    if (h->alive && h->out.bus_asks && h->supply) {
        h->asked = true;
        h->asked_us = h->now_us;
    }
    if (h->out.store) {
        write_byte(h);
    }
    if (h->alive && h->out.alive) {
        h->fed_us = h->now_us;
    } else if (h->alive && h->now_us - h->fed_us >= WATCHDOG_US) {
        h->resets++;
        start(h, START_RUNNING, h->now_us);
    }
    feed_coils(h);
}

/* Everything up to `to_us`, or up to the first change at a terminal. */
static void run(host *h, int64_t to_us, bool to_change)
{
    while (!(to_change && (h->count > 0u || h->asked))) {
        const int64_t ticking = next_tick(h), moving = next_edge(h);
        const int64_t next = ticking < moving ? ticking : moving;
        if (next > to_us) {
            break;
        }
        h->now_us = next;
        if (moving == next) {
            move_relays(h);
        }
        if (ticking == next) {
            const uint32_t before = showing(h);
            tick(h);
            show(h, before, h->now_us);
        }
    }
    if (h->now_us < to_us && !(to_change && (h->count > 0u || h->asked))) {
        h->now_us = to_us;
    }
}

/* -- the interface -- */

int board_defect = DEFECT_none;

void host_defect(int32_t number)
{
    board_defect = number;
}

host *host_new(const uint8_t image[IMAGE_BYTES], uint32_t frequency_hz, uint32_t seed)
{
    host *h = calloc(1, sizeof *h);
    if (h == NULL) {
        return NULL;
    }
    memcpy(h->image, image, IMAGE_BYTES);
    memset(h->store, 0xFF, STORE_BYTES);
    parameters wired;
    if (parameters_load(&wired, image)) {
        for (uint32_t i = 0; i < RELAYS; i++) {
            h->feed[i] = wired.output[i].fed_by_call ? wired.output[i].call : (uint8_t)NO_CALL;
        }
    }
    for (uint32_t i = 0; i < SENSORS; i++) {
        h->millivolts[i] = OPEN_MV;
    }
    h->half_us = 500000u / frequency_hz;
    h->chance = seed * 2654435761u + 1u;
    h->phase_us = chance(h, h->half_us);
    h->tick_us_1024 = 1000u * 1024u - 50u + chance(h, 101);
    h->last_us = 15000000 + (int64_t)chance(h, 15000000);
    return h;
}

void host_free(host *h)
{
    free(h);
}

void host_supply(host *h, bool on, int64_t at_us)
{
    run(h, at_us, false);
    if (h->supply == on) {
        return;
    }
    const uint32_t before = showing(h);
    h->supply = on;
    h->supply_us = at_us;
    if (on && !h->alive) {
        start(h, START_EMPTY, at_us + START_US);
    }
    show(h, before, at_us);
}

void host_call(host *h, uint32_t call, bool on, int64_t at_us)
{
    run(h, at_us, false);
    const uint32_t before = showing(h);
    h->calls = on ? h->calls | 1u << call : h->calls & ~(1u << call);
    show(h, before, at_us);
}

void host_sensor(host *h, uint32_t sensor, uint32_t millivolts, int64_t at_us)
{
    run(h, at_us, false);
    h->millivolts[sensor] = millivolts;
}

void host_trouble(host *h, uint32_t sensor, bool closed, int64_t at_us)
{
    run(h, at_us, false);
    h->troubles = closed ? h->troubles | 1u << sensor : h->troubles & ~(1u << sensor);
}

void host_button(host *h, bool pressed, int64_t at_us)
{
    run(h, at_us, false);
    h->button = pressed;
}

void host_bus(host *h, uint8_t byte, int64_t at_us)
{
    if (h->coming_count < BUS_WAITING) {
        const uint32_t place = (h->coming_first + h->coming_count++) % BUS_WAITING;
        h->coming[place].byte = byte;
        h->coming[place].at_us = at_us;
    }
}

bool host_asks(host *h, uint8_t question[BUS_QUESTION], int64_t *at_us)
{
    if (!h->asked) {
        return false;
    }
    memcpy(question, h->core.bus.question, BUS_QUESTION);
    *at_us = h->asked_us;
    h->asked = false;
    return true;
}

void host_advance(host *h, int64_t to_us)
{
    run(h, to_us, false);
}

bool host_take(host *h, host_change *change)
{
    if (h->count == 0u) {
        return false;
    }
    *change = h->waiting[h->first];
    h->first = (h->first + 1u) % WAITING;
    h->count--;
    return true;
}

int64_t host_next(const host *h)
{
    host ahead = *h;
    ahead.count = 0;
    ahead.asked = false;
    run(&ahead, h->now_us + LOOK_AHEAD_US, true);
    return ahead.now_us;
}

void host_reset(host *h)
{
    if (h->alive) {
        start(h, START_RUNNING, h->now_us);
        feed_coils(h);
    }
}

void host_store(const host *h, uint8_t store[STORE_BYTES])
{
    memcpy(store, h->store, STORE_BYTES);
}

void host_put_store(host *h, const uint8_t store[STORE_BYTES])
{
    memcpy(h->store, store, STORE_BYTES);
}

int32_t host_mode(const host *h)
{
    return h->alive ? (int32_t)board_shows(&h->core) : (int32_t)MODE_UNPOWERED;
}

bool host_light(const host *h)
{
    return h->out.light;
}

bool host_alive(const host *h)
{
    return h->alive;
}

void host_tear(host *h, uint32_t byte)
{
    h->tear = byte;
}

uint32_t host_resets(const host *h)
{
    return h->resets;
}
