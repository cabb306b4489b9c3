/* Plans: arm, advance, go, override, withdrawal, hold and finish. The rules; path.h computes. */
#ifndef UJ_PLAYER_H
#define UJ_PLAYER_H

#include <stdbool.h>
#include <stdint.h>

#include "drive.h"
#include "path.h"
#include "states.h"

struct uj_joint;

struct uj_player {
    struct uj_path path;
    uint32_t seen;       /* highest plan number of this session */
    uint32_t complied;   /* number of the plan complied with now, 0 for none */
    uint8_t reason;      /* enum uj_reason: answers the newest drive */
    bool arm_counts;     /* an arm was complied with that has served no go */
    uint32_t arm_number; /* its number */
    uint32_t go_number;  /* highest number of a go that was judged */
    double accepted_us;  /* joint time of accepting the start that is pending */
    double permitted_us; /* joint time from which a permit has let it start; INFINITY while none does */
    bool tells_end;      /* end_us is what permit_us tells in the status */
    int64_t end_us;      /* path time at which the fall began, or of the last point */
    const char *cause;   /* of the fall */
    int64_t advance_expiry_us; /* arm time */
    uint32_t advance_number;   /* of the newest arm of the advance */
};

/* As after boot; needs the joint's buffer and ramp to stand where they will. */
void uj_player_init(struct uj_joint *joint);

/* Takes what a drive says of plan and permit. In plans.c. */
void uj_player_drive(struct uj_joint *joint, const struct uj_drive *drive);

/* Whether a start is pending. */
bool uj_player_starts(const struct uj_joint *joint);

/* A pending start is dropped, if there is one. */
void uj_player_drop_start(struct uj_joint *joint);

/* Falls to rest along the path now: only in moving and advancing. */
void uj_player_ramp(struct uj_joint *joint, const char *cause);

/* Armed where it stands, by a drive or by an arrival: it complies with that plan, or has finished. */
void uj_player_armed(struct uj_joint *joint, uint32_t number, enum uj_trigger trigger);

/* Forgets trajectory, plan and permit. At rest on a path it is in ready then; off the path the state stays. */
void uj_player_discard(struct uj_joint *joint);

/* A new session: plan numbers are forgotten too. At rest. */
void uj_player_forget(struct uj_joint *joint);

/* The points have changed, or the permit: from when is the pending start permitted? */
void uj_player_permitted(struct uj_joint *joint);

/* The permit that the status tells; false for none. */
bool uj_player_permit(const struct uj_joint *joint, int64_t *permit_us);

/* Joint time of what happens next by a plan; INFINITY for nothing. */
double uj_player_next_us(const struct uj_joint *joint);

/* That time has come: it is joint->now_us. */
void uj_player_happen(struct uj_joint *joint);

#endif
