#include "outputs.h"

#include "defects.h"

/* Differences of times stay right when the count of milliseconds wraps. */
static bool reached(uint32_t now_ms, uint32_t due_ms)
{
    return (int32_t)(now_ms - due_ms) >= 0;
}

static uint32_t later(uint32_t a_ms, uint32_t b_ms)
{
    return reached(a_ms, b_ms) ? a_ms : b_ms;
}

static uint32_t earlier(uint32_t a_ms, uint32_t b_ms)
{
    return reached(a_ms, b_ms) ? b_ms : a_ms;
}

void outputs_start(outputs_state *o, uint32_t now_ms)
{
    *o = (outputs_state){.mode_ms = now_ms};
    for (uint8_t i = 0; i < OUTPUTS; i++) {
        o->output[i].seen_ms = o->output[i].moved_ms = now_ms;
    }
}

static board_policy policy_of(const output_parameters *q, uint8_t i, board_mode mode, bool new_call)
{
    const bool mitigating = mode == MODE_LEAK_ACTIVE || mode == MODE_POST_LEAK_HOLD;
    if (HAS(heat_not_blocked) && i == OUT_W && mode == MODE_LEAK_ACTIVE) { return POLICY_FOLLOW; }
    if (HAS(heat_passes_new_call) && i == OUT_W && mitigating && new_call) { return POLICY_FOLLOW; }
    if (HAS(blower_not_forced) && i == OUT_G && mode == MODE_LEAK_ACTIVE) { return POLICY_FOLLOW; }
    if (HAS(blower_not_held) && i == OUT_G && mode == MODE_POST_LEAK_HOLD) { return POLICY_FOLLOW; }
    if (HAS(fault_blower_not_forced) && i == OUT_G && mode == MODE_SENSOR_FAULT) { return POLICY_FOLLOW; }
    if (HAS(fault_heat_blocked) && i == OUT_W && mode == MODE_SENSOR_FAULT) { return POLICY_OFF; }
    if (HAS(self_test_blower_follows) && i == OUT_G && mode == MODE_SELF_TEST) { return POLICY_FOLLOW; }
    if (HAS(second_stage_passes) && i == OUT_Y2 && mode == MODE_LEAK_ACTIVE) { return POLICY_FOLLOW; }
    if (HAS(damper_not_opened) && i < RELAYS && i != OUT_G && !q->fed_by_call && mode == MODE_LEAK_ACTIVE) {
        return POLICY_FOLLOW;
    }
    return (board_policy)q->policy[mode];
}

/* When an output answers a change of mode. */
static uint32_t move_due(const output_parameters *q, const mode_move *move, bool on, uint32_t now_ms)
{
    switch (move->kind) {
    case MOVE_TRIP:
        return now_ms + q->trip_more_ms;
    case MOVE_LOSS:
        return now_ms + q->loss_more_ms;
    case MOVE_REACT:
        return now_ms + (on ? q->react_on_ms : q->react_off_ms);
    default:
        return now_ms;
    }
}

static void rest(output_state *o, const output_parameters *q, uint8_t events, uint32_t since_ms)
{
    if ((q->restart_after & events) != 0 && !HAS(restart_missing)) {
        o->resting = true;
        o->rest_ms = since_ms;
    }
}

/* Whether the delay keeps the output off now: it gives way to what the mode forces, and ends nothing that is on. */
static bool kept_off(output_state *o, const output_parameters *q, board_policy policy, bool called, uint32_t now_ms)
{
    if (o->resting && reached(now_ms, o->rest_ms + q->restart_ms)) {
        o->resting = false;
    }
    return o->resting && policy == POLICY_FOLLOW && !(o->drive && called);
}

/* An alarm contact may not close before the other is open: so long after its relay was told, it is. */
enum { OPEN_AFTER_MS = 15 };

static bool must_wait(const outputs_state *o, const parameters *p, uint8_t i, bool drive, uint32_t now_ms)
{
    const output_state *other = &o->output[i == ALARM_NO ? ALARM_NC : ALARM_NO];
    /* The one closes when its relay is fed, the other when it is let go. */
    if (i < ALARM_NO || drive != (i == ALARM_NO) || !p->output[ALARM_NO].used || !p->output[ALARM_NC].used) {
        return HAS(contacts_overlap) && i == ALARM_NC && !(other->drive && reached(now_ms, other->moved_ms + 100u));
    }
    if (HAS(contacts_overlap)) { return false; }
    return other->drive != drive || !reached(now_ms, other->moved_ms + OPEN_AFTER_MS);
}

static void tick(outputs_state *all, const parameters *p, uint8_t i, board_mode mode, const mode_move *move,
                 const mains_input *call, uint32_t now_ms)
{
    output_state *o = &all->output[i];
    const output_parameters *q = &p->output[i];
    const uint32_t mode_ms = all->mode_ms;
    const bool called = call != 0 && call->present;
    const bool call_changed = call != 0 && call->changed_ms != o->seen_ms;
    const bool new_call = call != 0 && reached(call->changed_ms, mode_ms);
    const board_policy policy = policy_of(q, i, mode, new_call);
    rest(o, q, move->events, move->since_ms);
    if (call_changed) {
        o->seen_ms = call->changed_ms;
        if (!called && o->drive && q->fed_by_call) {
            rest(o, q, AFTER_ANY_OFF, call->changed_ms);
        }
    }
    const bool rests = kept_off(o, q, policy, called, now_ms);
    bool wanted = policy == POLICY_ON || (policy == POLICY_FOLLOW && called && !rests);
    if (HAS(alarm_stuck) && i >= ALARM_NO && mode == MODE_NORMAL) { wanted = o->wanted; }
    if (HAS(blower_not_released) && i == OUT_G && mode == MODE_NORMAL && !new_call) { wanted = o->wanted; }
    if (wanted != o->wanted) {
        o->wanted = wanted;
        if (move->kind != MOVE_NONE) {
            o->due_ms = move_due(q, move, wanted, now_ms);
        } else if (call_changed && policy == POLICY_FOLLOW) {
            const uint32_t follow_ms = wanted ? q->follow_on_ms : q->follow_off_ms;
            o->due_ms = later(call->changed_ms, mode_ms) + (HAS(follow_slow) ? 10u * follow_ms : follow_ms);
        } else {
            /* The end of an anti-short-cycle delay. */
            o->due_ms = now_ms + q->react_on_ms;
        }
    } else if (move->kind != MOVE_NONE && o->drive != wanted) {
        /* Already on its way: the mode may want it sooner. */
        o->due_ms = earlier(o->due_ms, move_due(q, move, wanted, now_ms));
    }
    if (rests && !wanted && q->fed_by_call) {
        /* What has gone off with its call must not come on again with it. */
        o->drive = false;
    } else if (o->drive != o->wanted && reached(now_ms, o->due_ms) && !must_wait(all, p, i, o->wanted, now_ms)) {
        o->drive = o->wanted;
        o->moved_ms = now_ms;
        if (!o->drive) {
            rest(o, q, AFTER_ANY_OFF, now_ms);
        }
    }
}

void outputs_tick(outputs_state *o, const parameters *p, board_mode mode, const mode_move *move,
                  const mains_input calls[CALLS], uint32_t now_ms)
{
    if (move->kind != MOVE_NONE) {
        o->mode_ms = now_ms;
    }
    o->busy = false;
    const output_parameters *q = p->output;
    for (uint8_t i = 0; i < OUTPUTS; i++, q++) {
        if (q->used) {
            const mains_input *call = q->call < CALLS ? &calls[q->call] : 0;
            const output_state *one = &o->output[i];
            tick(o, p, i, mode, move, call, now_ms);
            o->busy = o->busy || one->resting || one->drive != one->wanted;
        }
    }
}
