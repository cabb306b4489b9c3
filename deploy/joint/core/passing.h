/* Which changes of the home sensor's level are one passage of its edge: a sensor may bounce there. */
#ifndef UJ_PASSING_H
#define UJ_PASSING_H

#include <stdbool.h>

#include "configuration.h"

/* A joint slower than this (counts/s) has no direction of travel. */
#define UJ_STILL 256.0

/* The passage that the newest change of level belongs to. All zero: the next change begins one, wherever it comes. */
struct uj_passing {
    bool begins;       /* the newest change is the first of its passage */
    bool turned_round; /* it is so only as the joint has turned round: the edge is that of before */
    bool counts;       /* the level is another than before the passage, so that there is one */
    double place;      /* where it was, counts; only while it counts */
    bool known;        /* there is one */
    double first;      /* where it began */
    int direction;     /* of travel, 1 or -1; 0 while there is none */
    int heading;       /* that of the newest change */
};

/* Counts from the first change of a passage within which others belong to it. */
double uj_bounce(const struct uj_configuration *configuration);

/* The level changed at a position (counts), at a velocity (counts/s). */
void uj_passing_change(struct uj_passing *passing, double position, double velocity,
                       const struct uj_configuration *configuration);

#endif
