/* The home sensor after homing: steps lost are found by where it switches. */
#ifndef UJ_EDGES_H
#define UJ_EDGES_H

#include <stdbool.h>
#include <stdint.h>

#include "passing.h"

struct uj_joint;

/* The last position (counts) of one change of level in one direction of travel. */
struct uj_passage {
    bool known;
    double position;
};

struct uj_kept {
    struct uj_passage passages[2][2]; /* [rising][towards larger counts], met in the last homing, in its new frame */
    struct uj_passage place;          /* of the rising edge met last in the search direction, see homing */
};

struct uj_edges {
    bool active;               /* the sensor's level */
    struct uj_passing passing; /* of the newest change */
    struct uj_kept kept;
    struct uj_kept before; /* the same before the newest passage, which may turn out to be none */
};

/* The sensor switched: what is kept of this passage by its earlier changes is so no more. */
void uj_edges_pass(struct uj_edges *edges);

/* Forgets the passages: a homing begins. */
void uj_edges_forget_passages(struct uj_joint *joint);

/* Keeps the newest passage while homing. */
void uj_edges_keep(struct uj_joint *joint, bool rising, double position);

/* Adds a homing's shift to all that is kept. */
void uj_edges_shift(struct uj_joint *joint, int64_t shift);

/* The sensor switched, and a passage begins: compares the position (counts, and counts/s) with what is kept, and finds
 * steps lost. */
void uj_edges_compare(struct uj_joint *joint, bool rising, double position, double velocity);

#endif
