/* What the rules share: one state, struct uj_joint, and the few things that all of them do with it. */
#ifndef UJ_BODY_H
#define UJ_BODY_H

#include <stdbool.h>
#include <stdint.h>

#include "buffer.h"
#include "clock.h"
#include "configuration.h"
#include "current.h"
#include "edges.h"
#include "homing.h"
#include "lamp.h"
#include "mover.h"
#include "numbers.h"
#include "player.h"
#include "ramp.h"
#include "reports.h"
#include "safety.h"
#include "session.h"
#include "states.h"
#include "status.h"
#include "touch.h"

#define UJ_EVENTS_KEPT 16

/* What a simulated world or a port is told as it happens, besides motion: see steps.h and uj_joint_piece. */
enum uj_truth_kind {
    UJ_TRUTH_DRIVERS, /* value: 1 on, 0 off */
    UJ_TRUTH_CURRENT, /* value: mA in the winding */
    UJ_TRUTH_OUTPUTS, /* value: one bit each */
    UJ_TRUTH_SHIFT,   /* value: counts added to every position; the motor stays where it is */
    UJ_TRUTH_STATE    /* value: enum uj_state, entered now */
};

struct uj_truth {
    double at_us; /* joint time */
    enum uj_truth_kind kind;
    int64_t value;
};

struct uj_update;

/* What a joint is, from its build and its place: lasts from boot to boot. */
struct uj_settings {
    uint8_t id[UJ_JOINT_ID_BYTES];
    const char *firmware;
    uint32_t boot;  /* random, never 0 */
    uint16_t udp;   /* the port for datagrams */
    struct uj_capabilities capabilities; /* point_capacity at most UJ_POINT_CAPACITY, which 0 stands for */
    bool tells_home_sensor;
    struct uj_update *update; /* update.h; null where it takes no images: then no board counts either */
    /* Told of every truth within the call in which it comes true; may be null. It must not call the joint. */
    void (*truth)(void *world, const struct uj_truth *truth);
    void *world;
};

struct uj_joint {
    struct uj_settings settings;
    double now_us; /* joint time of what happens now */
    enum uj_state state;
    bool homed;
    bool energised;
    bool configured;
    struct uj_configuration configuration;
    uint8_t digest[UJ_SHA256_BYTES]; /* of the configuration's body */
    uint8_t inputs;
    uint8_t outputs;
    int winding_ma; /* told last */
    struct uj_ramp ramp;
    struct uj_clock clock;
    struct uj_buffer buffer;
    struct uj_player player;
    struct uj_mover mover;
    struct uj_homing_run homing;
    struct uj_edge_list met[2]; /* edges of this homing and of the one before: their events may wait */
    struct uj_edges edges;
    struct uj_safety safety;
    struct uj_current current;
    struct uj_session session;
    struct uj_lamp lamp;
    struct uj_touch touch;
    struct uj_event events[UJ_EVENTS_KEPT]; /* a ring */
    unsigned event_head, event_count;
};

/* Makes a transition; the table must have it. Coming to rest, and being disarmed, does what it always does: the
 * remainder is dropped, and the wait for the reduced current begins. */
void uj_body_go(struct uj_joint *joint, enum uj_trigger trigger);

/* In a state at rest and without a start pending. */
bool uj_body_rests(const struct uj_joint *joint);

/* True for the states in which the path says where the joint is; in all others the mover does. */
bool uj_body_on_path(const struct uj_joint *joint);

/* Position (counts) and velocity (counts/s) now. */
void uj_body_where(const struct uj_joint *joint, double *position, double *velocity);

/* The position now as the nearest whole count. */
int64_t uj_body_position(const struct uj_joint *joint);

/* The nearest whole number, half rounded up. */
int64_t uj_body_round(double value);

/* Arm time now, µs; only with a map. */
double uj_body_arm_us(const struct uj_joint *joint);

/* Keeps an event; with UJ_EVENTS_KEPT kept already, the oldest is dropped. */
void uj_body_tell(struct uj_joint *joint, const struct uj_event *event);

/* The list gets other edges: the event that tells of those in it, and what is older, is dropped if it still waits. */
void uj_body_forget_edges(struct uj_joint *joint, const struct uj_edge_list *list);

/* At rest the arm clock may jump: the remainder is dropped, and the path lets arm time go back. */
void uj_body_settle(struct uj_joint *joint);

/* Tells the world a truth that comes true now. */
void uj_body_truth(struct uj_joint *joint, enum uj_truth_kind kind, int64_t value);

/* Drivers off: nothing holds the position any more. The state stays as it is. */
void uj_body_drivers_off(struct uj_joint *joint);

/* Motion ends on the spot, drivers off, trajectory and plan are discarded: unhomed, or faulted still. */
void uj_body_release(struct uj_joint *joint);

#endif
