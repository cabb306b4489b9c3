/* Motion along the path: where the joint is on it, what it may do next, and at which arm time. The rules decide
 * (player.c); this computes.
 *
 * Path times told are whole µs (int64_t), arm times µs in a double. The arm times given must not go back. Whoever
 * changes anything here first lets happen what is due: while uj_path_next gives an instant that is not after now,
 * uj_path_happen. So a late caller changes nothing.
 *
 * Every function that takes a buffer needs the joint's own, with the trajectory that is played.
 */
#ifndef UJ_PATH_H
#define UJ_PATH_H

#include "buffer.h"
#include "clock.h"
#include "course.h"
#include "piece.h"

enum uj_path_phase {
    UJ_PATH_STANDS,   /* at stand_us; `pending` is a start */
    UJ_PATH_ADVANCES, /* on the way to target_us */
    UJ_PATH_MOVES,    /* by `present`; `pending` is an override */
    UJ_PATH_FALLS     /* to rest */
};

/* What comes next by itself. */
enum uj_path_event {
    UJ_PATH_NOTHING,
    UJ_PATH_START,   /* STANDS: the pending start's instant. Nothing happens by itself: uj_path_start, or _drop */
    UJ_PATH_CHANGE,  /* MOVES: the pending change becomes the present one */
    UJ_PATH_PERMIT,  /* MOVES: the effective permit is reached or passed: the fall begins */
    UJ_PATH_SWITCH,  /* a point that switches outputs is reached: uj_buffer_switch at the path time then */
    UJ_PATH_ARRIVAL, /* ADVANCES: it stands at target_us, exactly */
    UJ_PATH_REST,    /* FALLS: it stands, at a path time rounded to a whole µs */
    UJ_PATH_LAST     /* any motion: it stands at the last point */
};

struct uj_path {
    const struct uj_ramp *ramp;
    enum uj_path_phase phase;
    int64_t stand_us;         /* path time at which it stands, or stood before this motion */
    int64_t target_us;        /* of an advance */
    bool has_pending;
    struct uj_change pending; /* start or override */
    struct uj_change present; /* change by which it moves */
    bool has_permit;
    int64_t permit_us;        /* as the newest drive has it */
    int64_t fell_us;          /* path time at which the last fall began, rounded */
    struct uj_course course;  /* of the motion now; in an advance its first half */
    struct uj_course descent; /* in an advance: its second half */
    uj_time since;            /* arm time up to which all has happened; a fall begins no earlier */
};

/* A trajectory's beginning: stands at path time 0, no permit. The ramp must outlive the path. */
void uj_path_begin(struct uj_path *path, const struct uj_ramp *ramp);

/* Armed within 2 µs of where it stands: stands at stand_us exactly. */
void uj_path_stand(struct uj_path *path, int64_t stand_us);

/* STANDS before target_us: advances to it from arm time now on. Drops a pending start. */
void uj_path_advance(struct uj_path *path, int64_t target_us, double arm_now_us);

/* STANDS: this start is pending. MOVES: this override is. Replaces another. Judge it before. */
void uj_path_pend(struct uj_path *path, const struct uj_change *change, double arm_now_us);

/* No change is pending. */
void uj_path_drop(struct uj_path *path);

/* STANDS with a start pending: moves by it, from its instant on. The permit counts as given before. */
void uj_path_start(struct uj_path *path);

/* The newest drive's permit, or none. */
void uj_path_permit(struct uj_path *path, bool has_permit, int64_t permit_us, double arm_now_us);

/* ADVANCES or MOVES: falls to rest from arm time now on. A pending change is dropped. */
void uj_path_fall(struct uj_path *path, double arm_now_us);

/* The same at arm time `arm` (not before the one last given), at which path time is `from`. */
void uj_path_fall_from(struct uj_path *path, uj_time arm, uj_time from);

enum uj_override {
    UJ_OVERRIDE_PRESENT,        /* the change by which the joint moves */
    UJ_OVERRIDE_PENDING,        /* the pending one */
    UJ_OVERRIDE_SOUND,          /* another one that may be pending, where its plan is new */
    UJ_OVERRIDE_POINTS_MISSING, /* the same, but the buffer does not reach its instant and a fall from there */
    UJ_OVERRIDE_WRONG           /* none of these */
};

/* MOVES: what a drive's change is to the joint. */
enum uj_override uj_path_judge(const struct uj_path *path, const struct uj_buffer *buffer,
                               const struct uj_change *change, double arm_now_us);

/* Path time from which the points in the buffer just hold a fall from a rate. */
int64_t uj_path_room_us(const struct uj_path *path, const struct uj_buffer *buffer, uint32_t rate_ppm);

/* The permit that the joint obeys and reports, into *permit_us: until the last point is in the buffer at most
 * buffered_us less the path of a fall. False without a permit. */
bool uj_path_effective_permit(const struct uj_path *path, const struct uj_buffer *buffer, int64_t *permit_us);

/* What comes next by itself, and its arm time into *arm_us. Not before the arm time last given. */
enum uj_path_event uj_path_next(const struct uj_path *path, const struct uj_buffer *buffer, double *arm_us);

/* The same but for the switches of outputs, in whole numbers. */
enum uj_path_event uj_path_next_motion(const struct uj_path *path, const struct uj_buffer *buffer, uj_time *arm);

/* It happens, at the arm time that uj_path_next gave. UJ_PATH_START and UJ_PATH_SWITCH change nothing here:
 * see there. After a switch uj_path_next gives the same again until the buffer's point is passed. */
void uj_path_happen(struct uj_path *path, const struct uj_buffer *buffer, enum uj_path_event event, double arm_us);

/* The course that holds at an arm time, in motion. */
const struct uj_course *uj_path_course(const struct uj_path *path, uj_time arm);

/* Path time (1/256 µs) and rate at an arm time; standing: where it stands, rate 0. */
struct uj_progress uj_path_progress(const struct uj_path *path, double arm_us);

/* Position (counts) and velocity (counts/s) at an arm time. */
void uj_path_where(const struct uj_path *path, const struct uj_buffer *buffer, double arm_us, double *position,
                   double *velocity);

/* Frees the points that are behind the joint at an arm time. */
void uj_path_free(const struct uj_path *path, struct uj_buffer *buffer, double arm_us);

/* The piece of motion that holds at joint_us, as things are now. False where the joint stands. */
bool uj_path_piece(const struct uj_path *path, const struct uj_buffer *buffer, const struct uj_clock *clock,
                   double joint_us, struct uj_motion_piece *piece);

#endif
