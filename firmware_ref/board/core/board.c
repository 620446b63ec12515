#include "board.h"

#include "defects.h"

/* Calls are not looked at while the supply shows no cycle: both come from one transformer. */
enum { BLIND_MS = 14 };

/* The supply has just come. */
static void begin(board *b)
{
    b->power = POWER_BOOTING;
    b->supply_ms = b->now_ms;
    for (uint8_t i = 0; i < CALLS; i++) {
        mains_start(&b->calls[i], b->now_ms);
    }
    sensor_start(&b->sensor);
    bus_start(&b->bus, &b->parameters.bus);
    outputs_start(&b->outputs, b->now_ms);
    b->relays = 0;
    b->button = (button_state){.pressed = false};
    b->panel = (panel_state){.code = CODE_DARK};
    b->logic = (logic_state){.mode = MODE_UNPOWERED};
}

void board_start(board *b, const uint8_t image[IMAGE_BYTES], const uint8_t store[STORE_BYTES], start_cause cause)
{
    *b = (board){.power = POWER_BOOTING};
    b->usable = parameters_load(&b->parameters, image);
    for (uint8_t i = 0; i < OUTPUTS; i++) {
        const output_parameters *q = &b->parameters.output[i];
        if (q->used && q->call < CALLS && q->call >= b->watched) {
            b->watched = (uint8_t)(q->call + 1u);
        }
    }
    memory_start(&b->memory, store);
    for (uint8_t i = 0; i < SENSORS; i++) {
        const sensor_parameters *s = &b->parameters.sensor[i];
        b->bias = (uint8_t)(b->bias | (s->used && s->biased ? 1u << i : 0u));
    }
    mains_start(&b->supply, 0);
    /* A good supply until its absence has been seen for as long as always. */
    b->supply.silent_ms = 0;
    if (cause == START_EMPTY && b->memory.saved.down && b->parameters.reset_ms > 0u && !HAS(latch_not_reset)) {
        /* The capacitor lasts longer than any reset time; it ran out, so the reset time is over. */
        memory_record record = b->memory.saved;
        record.latched = false;
        record.down = false;
        memory_save(&b->memory, &record);
    }
    begin(b);
}

/* True when a call has come or gone. */
static bool sample(board *b, const board_inputs *in)
{
    bool changed = false;
    mains_sample(&b->supply, in->supply, b->now_ms);
    if (b->supply.silent_ms < BLIND_MS) {
        uint8_t calls = in->calls;
        if (HAS(call_misread)) { calls = (uint8_t)((calls & ~2u) | (calls >> 1 & 2u)); }
        /* Shifted step by step: the controller has no shift by a variable. */
        for (uint8_t i = 0; i < b->watched; i++, calls >>= 1) {
            changed |= mains_sample(&b->calls[i], (calls & 1u) != 0u, b->now_ms);
        }
    }
    sensor_sample(&b->sensor, &b->parameters, in->sensor_mv, in->troubles, &b->bus);
    return changed;
}

/* The supply was gone for longer than a dip: remember, let go, and wait. */
static void go_down(board *b)
{
    memory_record record = b->memory.saved;
    if (b->power == POWER_RUNNING) {
        record = logic_record(&b->logic, &b->parameters);
    }
    record.down = record.kept != KEPT_NOTHING || record.latched;
    if (HAS(short_cut_clears_latch)) { record.latched = false; }
    if (HAS(reset_not_stored) && b->memory.saved.latched) { record.latched = true; }
    memory_save(&b->memory, &record);
    outputs_start(&b->outputs, b->now_ms);
    b->relays = 0;
    b->logic = (logic_state){.mode = MODE_UNPOWERED};
    b->power = POWER_DOWN;
    b->supply_ms = b->now_ms - b->supply.silent_ms;
}

static void wait_for_supply(board *b)
{
    const uint32_t reset_ms = b->parameters.reset_ms;
    memory_record record = b->memory.saved;
    if (record.latched && reset_ms > 0u && b->now_ms - b->supply_ms >= reset_ms && !HAS(latch_not_reset)) {
        record.latched = false;
        memory_save(&b->memory, &record);
    }
    if (b->supply.conducting) {
        record.down = false;
        memory_save(&b->memory, &record);
        begin(b);
    }
}

/* What the button asks for, if anything, goes before what the board does by itself in this millisecond: in the modes
 * in which it leads anywhere no time is counted but that of a condition. */
static mode_move ask(board *b, button_ask asked)
{
    const mode_move move = logic_ask(&b->logic, &b->parameters, &b->sensor, asked, b->now_ms);
    if (asked == ASK_RECALL) {
        panel_recall(&b->panel, &b->parameters, &b->logic);
    }
    return move;
}

static mode_move run(board *b, bool button)
{
    const parameters *p = &b->parameters;
    const uint32_t up_ms = b->now_ms - b->supply_ms;
    if (b->power == POWER_RUNNING) {
        const button_ask asked = button_tick(&b->button, &p->button, button, b->now_ms);
        const mode_move move = ask(b, asked);
        return move.kind != MOVE_NONE ? move : logic_tick(&b->logic, p, &b->sensor, up_ms, b->now_ms);
    }
    if (up_ms < p->boot_ms) {
        return (mode_move){.kind = MOVE_NONE};
    }
    b->power = POWER_RUNNING;
    return logic_boot(&b->logic, p, &b->memory.saved, b->supply_ms);
}

/* Written when the mode changes; how much of the hold is left only when the supply goes. */
static void remember(board *b)
{
    const memory_record *saved = &b->memory.saved;
    memory_record record = logic_record(&b->logic, &b->parameters);
    if (record.kept == KEPT_HOLD && saved->kept == KEPT_HOLD) {
        record.hold_left_ms = saved->hold_left_ms;
    }
    if (HAS(reset_not_stored) && saved->latched) { record.latched = true; }
    memory_save(&b->memory, &record);
}

static uint8_t lines(const board *b)
{
    uint8_t relays = 0;
    for (uint8_t i = RELAYS; i-- > 0u;) {
        const output_state *o = &b->outputs.output[i];
        const bool cut = HAS(drive_interrupted) && b->now_ms - o->due_ms > 1500u && b->now_ms % 200u < 12u;
        relays = (uint8_t)(relays << 1 | (o->drive && !cut));
    }
    if (HAS(outputs_crossed)) { relays = (uint8_t)((relays & ~3u) | (relays >> 1 & 1u) | (relays & 1u) << 1); }
    return relays;
}

void board_tick(board *b, const board_inputs *in, board_outputs *out)
{
    *out = (board_outputs){.alive = true};
    if (!b->usable) {
        return;
    }
    b->now_ms++;
    if (b->parameters.bus.sensor != 0u && b->power != POWER_DOWN) {
        out->bus_asks = bus_tick(&b->bus, &b->parameters.bus, in->bus, in->bus_count, in->bus_damaged);
    }
    const bool call_changed = sample(b, in);
    if (b->power == POWER_DOWN) {
        wait_for_supply(b);
    } else if (b->supply.silent_ms >= b->parameters.ride_through_ms) {
        go_down(b);
    } else {
        const mode_move move = run(b, in->button);
        if (b->power == POWER_RUNNING) {
            if (move.kind != MOVE_NONE || call_changed || b->outputs.busy || HAS(loss_ends_mitigation)) {
                const bool ended = HAS(loss_ends_mitigation) && b->logic.lost_noticed;
                const board_mode mode = ended ? MODE_NORMAL : b->logic.mode;
                outputs_tick(&b->outputs, &b->parameters, mode, &move, b->calls, b->now_ms);
                b->relays = lines(b);
            }
            panel_tick(&b->panel, &b->parameters, &b->logic, b->now_ms);
            if (move.kind != MOVE_NONE || b->logic.last_fault != b->memory.saved.last_fault) {
                remember(b);
            }
        }
    }
    if (HAS(drive_interrupted)) { b->relays = lines(b); }
    out->relays = b->relays;
    out->alarms = (uint8_t)((b->outputs.output[ALARM_NO].drive ? 1u : 0u) | (b->outputs.output[ALARM_NC].drive ? 2u : 0u));
    out->light = b->power == POWER_RUNNING && panel_light(&b->panel, &b->parameters);
    out->bias = b->bias;
    out->alive = !(HAS(watchdog_starved) && (out->relays & (uint8_t)(out->relays - 1u)) != 0u);
    if (in->store_ready) {
        out->store = memory_next(&b->memory, &out->store_address, &out->store_value);
    }
}

board_mode board_shows(const board *b)
{
    return b->logic.mode;
}
