#include "logic.h"

#include "defects.h"

static mode_move enter(logic_state *l, board_mode mode, move_kind kind, uint8_t events, uint32_t since_ms)
{
    l->mode = mode;
    l->lost_noticed = false;
    l->waits_for_low = false;
    l->low_ms = 0;
    return (mode_move){.kind = kind, .since_ms = since_ms, .events = events};
}

static mode_move trip(logic_state *l, uint32_t now_ms)
{
    l->last_fault = FAULT_LEAK;
    l->tripped_ms = now_ms;
    return enter(l, MODE_LEAK_ACTIVE, MOVE_TRIP, 0, now_ms);
}

static mode_move fault(logic_state *l, const parameters *p, move_kind kind, uint32_t now_ms)
{
    l->last_fault = FAULT_SENSOR;
    l->latched = l->latched || p->latching;
    return enter(l, MODE_SENSOR_FAULT, kind, 0, now_ms);
}

static mode_move hold(logic_state *l, const parameters *p, move_kind kind, uint32_t now_ms)
{
    l->hold_left_ms = p->hold_ms;
    if (HAS(hold_from_trip)) { l->hold_left_ms -= now_ms - l->tripped_ms; }
    return enter(l, MODE_POST_LEAK_HOLD, kind, 0, now_ms);
}

static bool tripped(const logic_state *l, const parameters *p, const sensor_state *s)
{
    if (HAS(leak_unseen_in_fault) && l->mode == MODE_SENSOR_FAULT) { return false; }
    if (HAS(re_leak_no_restart) && l->mode == MODE_POST_LEAK_HOLD) { return false; }
    return s->high_ms >= (HAS(trip_unqualified) ? 1u : HAS(trip_slow) ? 2u * p->trip_ms : p->trip_ms);
}

static bool lost(const parameters *p, const sensor_state *s)
{
    return s->lost_ms >= (HAS(loss_unqualified) ? 1u : HAS(loss_slow) ? 3u * p->loss_ms : p->loss_ms);
}

static mode_move none(void)
{
    return (mode_move){.kind = MOVE_NONE};
}

mode_move logic_boot(logic_state *l, const parameters *p, const memory_record *remembered, uint32_t supply_ms)
{
    *l = (logic_state){.latched = remembered->latched, .last_fault = remembered->last_fault};
    board_mode mode = l->latched ? MODE_SENSOR_FAULT : MODE_START_UP;
    if (remembered->kept != KEPT_NOTHING && p->after_cut != CUT_FORGET) {
        const bool resumed = remembered->kept == KEPT_HOLD && p->after_cut == CUT_RESUME;
        mode = resumed ? MODE_POST_LEAK_HOLD : MODE_LEAK_ACTIVE;
        l->hold_left_ms = HAS(hold_resumed_full) ? p->hold_ms : remembered->hold_left_ms;
    }
    return enter(l, mode, MOVE_REACT, AFTER_POWER_UP, supply_ms);
}

/* Start-up and normal. */
static mode_move watch(logic_state *l, const parameters *p, const sensor_state *s, uint32_t up_ms, uint32_t now_ms)
{
    if (tripped(l, p, s)) {
        return trip(l, now_ms);
    }
    if (lost(p, s)) {
        return fault(l, p, MOVE_LOSS, now_ms);
    }
    if (l->mode == MODE_NORMAL) {
        return none();
    }
    const uint32_t warm_ms = HAS(warm_up_skipped) ? 0 : HAS(warm_up_long) ? 2u * p->warm_up_ms : p->warm_up_ms;
    if (up_ms < warm_ms || (p->check_before_normal && s->condition == SENSOR_HIGH)) {
        return none();
    }
    return enter(l, MODE_NORMAL, MOVE_REACT, 0, now_ms);
}

static mode_move leak(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (lost(p, s)) {
        l->lost_noticed = true;
    } else if (l->lost_noticed && s->good_ms >= p->return_ms) {
        l->lost_noticed = false;
    }
    /* A loss that has qualified stops the clear until the return has: it then begins afresh. */
    if (l->lost_noticed || s->condition != SENSOR_LOW) {
        l->low_ms = 0;
    } else {
        l->low_ms++;
    }
    return l->low_ms >= (HAS(clear_unqualified) ? 1u : p->clear_ms) ? hold(l, p, MOVE_REACT, now_ms) : none();
}

/* Whether the hold runs in this millisecond; may set it back to its full length. */
static bool hold_runs(logic_state *l, const parameters *p, const sensor_state *s)
{
    if (l->lost_noticed && p->when_lost != LOST_RUN) {
        return false;
    }
    if (s->condition == SENSOR_LOW) {
        l->waits_for_low = false;
    } else if (s->condition != SENSOR_LOST && p->on_band != BAND_CONTINUE) {
        l->waits_for_low = true;
        if (p->on_band == BAND_RESTART) {
            l->hold_left_ms = p->hold_ms;
        }
    }
    return !l->waits_for_low;
}

static mode_move hold_over(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (l->latched || (l->lost_noticed && s->condition == SENSOR_LOST)) {
        return fault(l, p, MOVE_REACT, now_ms);
    }
    return enter(l, MODE_NORMAL, MOVE_REACT, AFTER_RELEASE, now_ms);
}

static mode_move holding(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (tripped(l, p, s)) {
        return trip(l, now_ms);
    }
    if (lost(p, s)) {
        l->lost_noticed = true;
    } else if (l->lost_noticed && s->good_ms >= p->return_ms) {
        l->lost_noticed = false;
        if (p->when_lost == LOST_RESTART) {
            return enter(l, MODE_LEAK_ACTIVE, MOVE_REACT, 0, now_ms);
        }
    }
    if (hold_runs(l, p, s) && l->hold_left_ms > 0u && !HAS(hold_never_ends)) {
        l->hold_left_ms--;
    }
    const bool stopped = l->lost_noticed && p->when_lost != LOST_RUN;
    if (l->hold_left_ms > 0u || stopped || (p->ends_only_low && s->condition != SENSOR_LOW)) {
        return none();
    }
    return hold_over(l, p, s, now_ms);
}

static mode_move faulted(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (tripped(l, p, s)) {
        return trip(l, now_ms);
    }
    /* With gas present the fault does not end: the leak is about to trip. */
    if (l->latched || s->good_ms < p->return_ms || s->condition == SENSOR_HIGH) {
        return none();
    }
    if (p->fault_into_hold) {
        return hold(l, p, MOVE_REACT, now_ms);
    }
    return enter(l, MODE_NORMAL, MOVE_REACT, AFTER_RETURN, now_ms);
}

static mode_move testing(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (tripped(l, p, s) && !p->leak_waits && !HAS(self_test_blind)) {
        return trip(l, now_ms);
    }
    if (lost(p, s) && !p->loss_waits) {
        return fault(l, p, MOVE_LOSS, now_ms);
    }
    if (l->test_left_ms > 0u && !HAS(self_test_endless)) {
        l->test_left_ms--;
    }
    return l->test_left_ms > 0u ? none() : enter(l, MODE_NORMAL, MOVE_REACT, 0, now_ms);
}

mode_move logic_tick(logic_state *l, const parameters *p, const sensor_state *s, uint32_t up_ms, uint32_t now_ms)
{
    switch (l->mode) {
    case MODE_START_UP:
    case MODE_NORMAL:
        return watch(l, p, s, up_ms, now_ms);
    case MODE_LEAK_ACTIVE:
        return leak(l, p, s, now_ms);
    case MODE_POST_LEAK_HOLD:
        return holding(l, p, s, now_ms);
    case MODE_SENSOR_FAULT:
        return faulted(l, p, s, now_ms);
    case MODE_SELF_TEST:
        return testing(l, p, s, now_ms);
    default:
        return none();
    }
}

/* A latched fault is reset only when it would have ended by itself, were it not latched, or is about to trip. */
static mode_move reset(logic_state *l, const parameters *p, const sensor_state *s, uint32_t now_ms)
{
    if (l->mode != MODE_SENSOR_FAULT || !l->latched || s->good_ms < p->return_ms || HAS(reset_ignored)) {
        return none();
    }
    l->latched = false;
    return enter(l, MODE_NORMAL, MOVE_REACT, AFTER_RETURN, now_ms);
}

mode_move logic_ask(logic_state *l, const parameters *p, const sensor_state *s, button_ask ask, uint32_t now_ms)
{
    switch (ask) {
    case ASK_SELF_TEST:
        if (l->mode != MODE_NORMAL && !(HAS(self_test_in_hold) && l->mode == MODE_POST_LEAK_HOLD)) {
            return none();
        }
        l->test_left_ms = p->self_test_ms;
        return enter(l, MODE_SELF_TEST, MOVE_REACT, 0, now_ms);
    case ASK_RESET:
        return reset(l, p, s, now_ms);
    case ASK_CLEAR:
        if (!HAS(faults_not_cleared)) { l->last_fault = FAULT_NONE; }
        return none();
    default:
        return none();
    }
}

memory_record logic_record(const logic_state *l, const parameters *p)
{
    /* A hold that must start afresh is as good as none. */
    const bool void_now = l->mode == MODE_POST_LEAK_HOLD && l->lost_noticed && p->when_lost == LOST_RESTART;
    const bool holding_now = l->mode == MODE_POST_LEAK_HOLD && !void_now && !HAS(hold_forgotten);
    return (memory_record){
        .kept = l->mode == MODE_LEAK_ACTIVE || void_now ? KEPT_LEAK : holding_now ? KEPT_HOLD : KEPT_NOTHING,
        .hold_left_ms = holding_now ? l->hold_left_ms : 0u,
        .latched = l->latched,
        .last_fault = l->last_fault,
    };
}
