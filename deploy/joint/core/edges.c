#include "edges.h"

#include <math.h>

#include "body.h"
#include "text.h"

void uj_edges_forget_passages(struct uj_joint *joint)
{
    for (int rising = 0; rising < 2; rising++) {
        for (int up = 0; up < 2; up++) {
            joint->edges.kept.passages[rising][up].known = false;
        }
    }
}

void uj_edges_pass(struct uj_edges *edges)
{
    if (edges->passing.begins) {
        edges->before = edges->kept;
    } else {
        const bool known = edges->kept.place.known; /* what was forgotten since stays so */
        edges->kept = edges->before;
        edges->kept.place.known &= known;
    }
}

void uj_edges_keep(struct uj_joint *joint, bool rising, double position)
{
    const int heading = joint->edges.passing.heading;
    if (heading != 0) {
        joint->edges.kept.passages[rising][heading > 0] =
            (struct uj_passage){.known = true, .position = position};
    }
}

void uj_edges_shift(struct uj_joint *joint, int64_t shift)
{
    for (int rising = 0; rising < 2; rising++) {
        for (int up = 0; up < 2; up++) {
            joint->edges.kept.passages[rising][up].position += (double)shift;
        }
    }
    joint->edges.kept.place.position += (double)shift;
}

/* How far the position is from a passage, without whole turns. */
static double difference(const struct uj_joint *joint, const struct uj_passage *passage, double position)
{
    const double turn = (double)joint->configuration.counts_per_turn;
    const double away = position - passage->position;
    return away - turn * floor(away / turn + 0.5);
}

/* Sets *off to the difference that counts; false where there is nothing to compare with. Where the joint has turned round
 * on an edge, a sensor that bounces there changes its level either way. */
static bool compared(const struct uj_joint *joint, bool rising, double position, double *off)
{
    const int heading = joint->edges.passing.heading;
    const struct uj_passage *same = &joint->edges.kept.passages[rising][heading > 0];
    if (heading != 0 && !joint->edges.passing.turned_round && same->known) {
        *off = difference(joint, same, position);
        return true;
    }
    bool found = false;
    for (int i = 0; i < 4; i++) {
        const struct uj_passage *passage = &joint->edges.kept.passages[i / 2][i % 2];
        const double candidate = difference(joint, passage, position);
        if (passage->known && (!found || fabs(candidate) < fabs(*off))) {
            *off = candidate;
            found = true;
        }
    }
    return found;
}

void uj_edges_compare(struct uj_joint *joint, bool rising, double position, double velocity)
{
    double off = 0;
    if (!joint->homed || !compared(joint, rising, position, &off)) {
        return;
    }
    const double tolerance = (double)joint->configuration.full_step +
                             UJ_EDGE_TIMING_US / 1e6 * (fabs(velocity) + (double)joint->configuration.homing.fast);
    if (fabs(off) > tolerance) {
        struct uj_text text = uj_text("the home sensor switched at position ");
        uj_text_number(&text, uj_body_round(position));
        uj_text_words(&text, ", by ");
        uj_text_number(&text, uj_body_round(off));
        uj_text_words(&text, " counts from where it should; ");
        uj_text_number(&text, (int64_t)tolerance);
        uj_text_words(&text, " are tolerated");
        uj_safety_fault(joint, UJ_FAULT_STEPS_LOST, text.bytes);
    }
}
