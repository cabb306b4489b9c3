#include "homing.h"

#include <math.h>

#include "body.h"
#include "middle.h"
#include "text.h"

/* An amount in a sense: 1, the search direction, or -1, against it. */
static double towards(const struct uj_joint *joint, int sense, double amount)
{
    return (joint->configuration.homing.direction < 0) != (sense < 0) ? -amount : amount;
}

/* Where the joint is to come to rest before an edge. */
static double before(const struct uj_joint *joint, double edge)
{
    return edge + towards(joint, -1, (double)joint->configuration.homing.backoff);
}

/* How far along the search direction, from where homing began, a position is. */
static double along(const struct uj_joint *joint, double position)
{
    return towards(joint, 1, position - joint->homing.began_at);
}

/* Moves in a sense (1: the search direction, -1: against it) to rest at target, but no further than `travel` from where
 * homing began. Where it is too fast to stop there it comes to rest behind, as soon as it can. */
static void go_to(struct uj_joint *joint, int sense, double target, int64_t speed)
{
    const struct uj_homing *law = &joint->configuration.homing;
    const double travel = (double)law->travel;
    const double way = along(joint, target);
    if (fabs(way) > travel) {
        target = joint->homing.began_at + towards(joint, 1, copysign(travel, way));
    }
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    uj_free_within(&joint->mover.motion, joint->now_us, position, velocity, towards(joint, sense, (double)speed),
                   (double)joint->configuration.acceleration, target, target);
}

/* Moves as far in that sense as homing may go. */
static void go_as_far(struct uj_joint *joint, int sense, int64_t speed)
{
    const struct uj_homing *law = &joint->configuration.homing;
    go_to(joint, sense, joint->homing.began_at + towards(joint, sense, (double)law->travel), speed);
}

/* What was looked for has passed: comes to rest as soon as it can. */
static void brake(struct uj_joint *joint)
{
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    uj_free_to_velocity(&joint->mover.motion, joint->now_us, position, velocity, 0,
                        (double)joint->configuration.acceleration);
}

/* Step 4: on to where no change belongs to the passage any more that begins here. */
static void go_clear(struct uj_joint *joint, double edge)
{
    const struct uj_configuration *configuration = &joint->configuration;
    go_to(joint, 1, edge + towards(joint, 1, uj_bounce(configuration)), configuration->homing.slow);
}

static void step(struct uj_joint *joint, enum uj_homing_step next)
{
    const struct uj_homing *law = &joint->configuration.homing;
    joint->homing.step = next;
    joint->homing.found = false;
    joint->homing.has_rising = false;
    switch (next) {
    case UJ_HOMING_RETURN:
        go_to(joint, -1, before(joint, joint->edges.kept.place.position), law->fast);
        break;
    case UJ_HOMING_LEAVE:
        go_as_far(joint, -1, law->fast);
        break;
    case UJ_HOMING_SEARCH:
        go_as_far(joint, 1, law->fast);
        break;
    case UJ_HOMING_BACK:
        go_to(joint, -1, before(joint, joint->homing.edge), law->fast);
        break;
    case UJ_HOMING_MEASURE:
        go_as_far(joint, 1, law->slow);
        break;
    case UJ_HOMING_MIDDLE:
        go_to(joint, -1, (double)uj_middle(joint->homing.rising, joint->homing.falling), law->fast);
        break;
    }
}

void uj_homing_begin(struct uj_joint *joint, uint32_t number)
{
    struct uj_homing_run *run = &joint->homing;
    const struct uj_edges *edges = &joint->edges;
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    *run = (struct uj_homing_run){.number = number,
                                  .was_homed = joint->homed,
                                  .began_at = position,
                                  .list = run->list == 0 ? 1 : 0};
    uj_body_forget_edges(joint, &joint->met[run->list]);
    joint->met[run->list] = (struct uj_edge_list){0};
    joint->homed = false;
    uj_edges_forget_passages(joint);
    joint->edges.passing = (struct uj_passing){0};
    if (edges->active) {
        step(joint, UJ_HOMING_LEAVE);
    } else if (edges->kept.place.known && along(joint, before(joint, edges->kept.place.position)) < 0) {
        step(joint, UJ_HOMING_RETURN);
    } else {
        step(joint, UJ_HOMING_SEARCH);
    }
}

/* Off the sensor against the search direction: `backoff` further, and the next homing may begin from here. */
static void left_sensor(struct uj_joint *joint, double position)
{
    joint->homing.found = true;
    joint->edges.kept.place = (struct uj_passage){.known = true, .position = position};
    go_to(joint, -1, before(joint, position), joint->configuration.homing.fast);
}

/* One edge for each passage, and none for what was none. */
static void list(struct uj_joint *joint, bool rising)
{
    struct uj_homing_run *run = &joint->homing;
    const struct uj_passing *passing = &joint->edges.passing;
    struct uj_edge_list *met = &joint->met[run->list];
    if (!passing->begins && run->is_listed) {
        uj_edge_list_drop(met);
    }
    run->is_listed = passing->counts && met->count < UJ_MAX_EDGES;
    if (run->is_listed) {
        uj_edge_list_add(met, uj_body_round(passing->place), rising, run->step != UJ_HOMING_MEASURE);
    }
}

/* Step 4: a passage; a later one takes the place of its like. */
static void measure(struct uj_joint *joint, bool rising, double at)
{
    struct uj_homing_run *run = &joint->homing;
    const int64_t place = uj_body_round(joint->edges.passing.place);
    if (rising) {
        run->has_rising = true;
        run->rising = place;
        if (run->found) {
            run->found = false;
            go_as_far(joint, 1, joint->configuration.homing.slow);
        }
    } else if (run->has_rising) {
        run->falling = place;
        if (!run->found) {
            run->found = true;
            go_clear(joint, at);
        }
    }
}

void uj_homing_edge(struct uj_joint *joint, bool rising, double at)
{
    struct uj_homing_run *run = &joint->homing;
    const struct uj_passing *passing = &joint->edges.passing;
    list(joint, rising);
    if (passing->counts) {
        uj_edges_keep(joint, rising, passing->place);
    }
    switch (run->step) {
    case UJ_HOMING_RETURN:
    case UJ_HOMING_LEAVE:
        if (!rising && passing->counts) {
            left_sensor(joint, passing->place);
        }
        break;
    case UJ_HOMING_SEARCH:
        if (rising && !run->found) {
            run->found = true;
            run->edge = at;
            brake(joint);
        }
        break;
    case UJ_HOMING_MEASURE:
        if (passing->counts) {
            measure(joint, rising, at);
        }
        break;
    case UJ_HOMING_BACK:
    case UJ_HOMING_MIDDLE:
        break;
    }
}

/* The joint rests at the middle: from now on that is `home`. */
static void finish(struct uj_joint *joint)
{
    const struct uj_configuration *configuration = &joint->configuration;
    const struct uj_homing_run *run = &joint->homing;
    const int64_t middle = uj_middle(run->rising, run->falling);
    const int64_t shift = uj_middle_shift(middle, configuration->homing.home);
    struct uj_event event = {.type = UJ_EVENT_HOMED};
    event.of.homed.at_us = uj_body_round(joint->now_us);
    event.of.homed.homing_number = run->number;
    event.of.homed.middle = middle;
    event.of.homed.shift = shift;
    event.of.homed.has_lost = run->was_homed;
    event.of.homed.lost = run->was_homed ? uj_middle_lost(shift, configuration->counts_per_turn) : 0;
    event.of.homed.edges = &joint->met[run->list];
    uj_free_stand(&joint->mover.motion, joint->now_us, (double)(middle + shift));
    joint->edges.passing = (struct uj_passing){0};
    uj_edges_shift(joint, shift);
    uj_body_truth(joint, UJ_TRUTH_SHIFT, shift);
    joint->homed = true;
    uj_body_tell(joint, &event);
    uj_body_go(joint, UJ_ON_HOMED);
}

static void give_up(struct uj_joint *joint, const char *what, int64_t counts)
{
    struct uj_text text = uj_text("homing has used up its ");
    uj_text_words(&text, what);
    uj_text_words(&text, " of ");
    uj_text_number(&text, counts);
    uj_text_words(&text, " counts without what it looked for");
    joint->edges.kept.place.known = false;
    /* It rests already, but the end of homing is told, and its state left, as at any other. */
    uj_mover_brake(joint, text.bytes);
    uj_safety_fault(joint, UJ_FAULT_HALL_SENSOR, text.bytes);
}

void uj_homing_rest(struct uj_joint *joint)
{
    const struct uj_homing *law = &joint->configuration.homing;
    const struct uj_homing_run *run = &joint->homing;
    switch (run->step) {
    case UJ_HOMING_RETURN:
        step(joint, joint->edges.active ? UJ_HOMING_LEAVE : UJ_HOMING_SEARCH);
        break;
    case UJ_HOMING_LEAVE:
        if (!run->found) {
            give_up(joint, "travel", law->travel);
        } else {
            step(joint, joint->edges.active ? UJ_HOMING_LEAVE : UJ_HOMING_SEARCH);
        }
        break;
    case UJ_HOMING_SEARCH:
        if (!run->found) {
            give_up(joint, "travel", law->travel);
        } else {
            step(joint, UJ_HOMING_BACK);
        }
        break;
    case UJ_HOMING_BACK:
        if (joint->edges.active) {
            give_up(joint, "backoff", law->backoff);
        } else {
            step(joint, UJ_HOMING_MEASURE);
        }
        break;
    case UJ_HOMING_MEASURE:
        if (!run->found) {
            give_up(joint, "travel", law->travel);
        } else if (joint->edges.active) { /* it was inactive for a moment only, and still is active */
            joint->homing.found = false;
            go_as_far(joint, 1, law->slow);
        } else {
            step(joint, UJ_HOMING_MIDDLE);
        }
        break;
    case UJ_HOMING_MIDDLE:
        finish(joint);
        break;
    }
}

/* A search that is cut short behind the place that is kept has shown that the sensor is not there. Where it finds the
 * sensor from everywhere, also from behind it, the next homing goes on from where this one ends: else a long search that
 * is cut short again and again would never come further. Backing off an edge leaves the sensor, so its two changes of one
 * edge lie less than `backoff` apart. */
static void forget_passed_place(struct uj_joint *joint)
{
    const struct uj_configuration *configuration = &joint->configuration;
    const struct uj_homing *law = &configuration->homing;
    struct uj_passage *place = &joint->edges.kept.place;
    if (joint->homing.step != UJ_HOMING_SEARCH || joint->homing.found || configuration->has_range ||
        law->travel < configuration->counts_per_turn) {
        return;
    }
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    if (towards(joint, 1, position - place->position) > (double)law->backoff) {
        place->known = false;
    }
}

void uj_homing_failed(struct uj_joint *joint, const char *why)
{
    forget_passed_place(joint);
    struct uj_event event = {.type = UJ_EVENT_HOMING_FAILED};
    event.of.homing_failed.at_us = uj_body_round(joint->now_us);
    event.of.homing_failed.homing_number = joint->homing.number;
    uj_text_copy(event.of.homing_failed.message, why);
    event.of.homing_failed.edges = &joint->met[joint->homing.list];
    uj_body_tell(joint, &event);
}
