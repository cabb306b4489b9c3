/* The motor's current at rest: reduced after a while, and full again before anything moves. */
#ifndef UJ_CURRENT_H
#define UJ_CURRENT_H

#include <stdbool.h>

struct uj_joint;

struct uj_current {
    double rested_us;  /* joint time from which the wait for the reduced current counts */
    bool reduced;
    double settled_us; /* joint time at which the full current has settled; -INFINITY when it has long since */
};

void uj_current_init(struct uj_joint *joint);

/* The wait counts anew from now, and the full current is there: a drive asked for it, a session or a configuration. */
void uj_current_full(struct uj_joint *joint);

/* The wait counts anew from now: it came to rest, was disarmed, or its drivers were switched on. */
void uj_current_rested(struct uj_joint *joint);

/* Joint time at which the current is reduced by itself; INFINITY for never. */
double uj_current_reduces_us(const struct uj_joint *joint);

/* That time has come. */
void uj_current_reduce(struct uj_joint *joint);

/* Whether the current is reduced, or the full one has not settled yet: then nothing may move the joint. */
bool uj_current_is_reduced(const struct uj_joint *joint);

/* To be called after everything that happened: tells the world the current where it has become another. */
void uj_current_tell(struct uj_joint *joint);

#endif
