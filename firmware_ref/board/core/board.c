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
    outputs_start(&b->outputs, b->now_ms);
    b->panel = (panel_state){.group = 0};
    b->logic = (logic_state){.mode = MODE_UNPOWERED};
}

void board_start(board *b, const uint8_t image[IMAGE_BYTES], const uint8_t store[STORE_BYTES], start_cause cause)
{
    *b = (board){.power = POWER_BOOTING};
    b->usable = parameters_load(&b->parameters, image);
    memory_start(&b->memory, store);
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

static void sample(board *b, const board_inputs *in)
{
    mains_sample(&b->supply, in->supply, b->now_ms);
    if (b->supply.silent_ms < BLIND_MS) {
        for (uint8_t i = 0; i < CALLS; i++) {
            const uint8_t bit = HAS(call_misread) && i == OUT_W ? OUT_G : i;
            mains_sample(&b->calls[i], (in->calls & (1u << bit)) != 0u, b->now_ms);
        }
    }
    sensor_sample(&b->sensor, &b->parameters, in->sensor_mv);
}

/* The supply was gone for longer than a dip: remember, let go, and wait. */
static void go_down(board *b)
{
    memory_record record = b->memory.saved;
    if (b->power == POWER_RUNNING) {
        record = logic_record(&b->logic);
    }
    record.down = record.kept != KEPT_NOTHING || record.latched;
    if (HAS(short_cut_clears_latch)) { record.latched = false; }
    memory_save(&b->memory, &record);
    outputs_start(&b->outputs, b->now_ms);
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

static mode_move run(board *b)
{
    const parameters *p = &b->parameters;
    const uint32_t up_ms = b->now_ms - b->supply_ms;
    if (b->power == POWER_RUNNING) {
        return logic_tick(&b->logic, p, &b->sensor, up_ms, b->now_ms);
    }
    if (up_ms < p->boot_ms) {
        return (mode_move){.kind = MOVE_NONE};
    }
    b->power = POWER_RUNNING;
    return logic_boot(&b->logic, p, &b->memory.saved, b->supply_ms);
}

/* A record is written when what it says changes; how much of the hold is left only when the supply goes. */
static void remember(board *b)
{
    const memory_record *saved = &b->memory.saved;
    memory_record record = logic_record(&b->logic);
    if (record.kept == KEPT_HOLD && saved->kept == KEPT_HOLD) {
        record.hold_left_ms = saved->hold_left_ms;
    }
    memory_save(&b->memory, &record);
}

static uint8_t lines(const board *b)
{
    uint8_t relays = 0;
    for (uint8_t i = 0; i < RELAYS; i++) {
        const output_state *o = &b->outputs.output[i];
        if (HAS(drive_interrupted) && b->now_ms - o->due_ms > 1500u && b->now_ms % 200u < 12u) { continue; }
        relays = (uint8_t)(relays | (uint8_t)(o->drive ? 1u << i : 0u));
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
    sample(b, in);
    if (b->power == POWER_DOWN) {
        wait_for_supply(b);
    } else if (b->supply.silent_ms >= b->parameters.ride_through_ms) {
        go_down(b);
    } else {
        const mode_move move = run(b);
        if (b->power == POWER_RUNNING) {
            const bool ended = HAS(loss_ends_mitigation) && b->logic.lost_noticed;
            outputs_tick(&b->outputs, &b->parameters, ended ? MODE_NORMAL : b->logic.mode, &move, b->calls, b->now_ms);
            if (panel_tick(&b->panel, &b->logic, in->button)) {
                b->logic.last_fault = FAULT_NONE;
            }
            remember(b);
        }
    }
    out->relays = lines(b);
    out->alarm = b->outputs.output[ALARM].drive;
    out->light = b->power == POWER_RUNNING && panel_light(&b->panel, &b->logic);
    out->bias = b->parameters.biased;
    out->alive = !(HAS(watchdog_starved) && (out->relays & (uint8_t)(out->relays - 1u)) != 0u);
    if (in->store_ready) {
        out->store = memory_next(&b->memory, &out->store_address, &out->store_value);
    }
}

board_mode board_shows(const board *b)
{
    return b->logic.mode;
}
