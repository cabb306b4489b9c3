/* Motion off the path: what a drive asks of jog and homing, and braking. */
#ifndef UJ_MOVER_H
#define UJ_MOVER_H

#include <stdbool.h>
#include <stdint.h>

#include "drive.h"
#include "free_motion.h"

struct uj_joint;

struct uj_mover {
    struct uj_free_motion motion; /* where the joint is in every state off the path */
    int64_t expiry_us;            /* arm time: of the jog or homing under way */
    bool has_target;              /* of the jog under way, as asked last */
    int64_t target;
    int32_t velocity;
};

/* Takes what a drive says of jog and homing. */
void uj_mover_drive(struct uj_joint *joint, const struct uj_drive *drive);

/* Stands where it is now: the motion ends on the spot. Off the path from then on. */
void uj_mover_stand(struct uj_joint *joint);

/* Brakes from any motion: state stopping. Homing has failed then, for this reason. In stopping it does nothing. */
void uj_mover_brake(struct uj_joint *joint, const char *why);

/* Joint time of what happens next: rest or expiry; INFINITY for nothing. */
double uj_mover_next_us(const struct uj_joint *joint);

/* That time has come: it is joint->now_us. */
void uj_mover_happen(struct uj_joint *joint);

#endif
