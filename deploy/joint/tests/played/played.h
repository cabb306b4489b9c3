/* A joint in C for a world that is played elsewhere, such as the campaign's in Python: time, bytes and readings go in,
 * and the world looks at what came of them.
 *
 * All of it is one block of memory, `struct played`, which begins with what is to be looked at. The block may be copied,
 * if played_moved is called for the copy: then both go on, each by itself. Every call but those that only look lets
 * happen first what was due by then, and leaves `now` and `seen` as they are afterwards. Times are joint time in µs.
 *
 * Where Python reads a structure, every member has 8 bytes: there is nothing between them. */
#ifndef PLAYED_H
#define PLAYED_H

#include <stddef.h>
#include <stdint.h>

#include "machine.h"

#define PLAYED_FIRMWARE_BYTES 40
#define PLAYED_CAUSE_BYTES 16
#define PLAYED_TRUTHS 256
#define PLAYED_MESSAGES 64
#define PLAYED_BYTES 65536
#define PLAYED_DIGEST_WORDS 4
#define PLAYED_REPLY_BYTES 512

/* What changes as time goes on. */
struct played_now {
    double now_us;      /* of the last call, as the joint has it */
    double deadline_us; /* when something happens by itself; INFINITY for never */
    double position;    /* where the core takes the motor to be, counts and counts/s */
    double velocity;
    int64_t motor;      /* where its steps have taken the motor, counts as the core has them */
    int64_t messages;   /* that wait to be taken */
    int64_t truths;     /* the same */
    int64_t crowded;    /* 1: more came than there is room for, and some is lost */
};

struct played_change {
    int64_t at_us, path_us, before_ppm, after_ppm;
};

struct played_course {
    int64_t at, path, begin, end; /* 1/256 µs: arm time, path time, table times */
    int64_t before_ppm, after_ppm;
    int64_t by_table;        /* 1: the rates are those of the table at `begin` and `end` */
};

struct played_leg {
    double from_us, position, velocity, acceleration;
};

struct played_motion {
    int64_t moves; /* 0: nothing here counts */
    int64_t legs;
    struct played_leg leg[UJ_FREE_LEGS];
    double end_us, end_position, end_velocity;
};

struct played_clock {
    int64_t number, arm_us, joint_us, rate_ppb; /* number 0: no map */
    int64_t remainder, taken;                   /* 1/256 µs */
};

/* What the joint is, but for time. */
struct played_seen {
    int64_t state, homed, energised, reduced, latched, faults;
    int64_t inputs, outputs, home_sensor, fan_percent, shift;
    double settled_us;     /* of the full current */
    double rest_position;  /* at rest */
    int64_t begun, session, sequence, condition;
    double driven_us;
    int64_t homing_number;
    int64_t turn, presses, long_presses; /* of the touch control */
    int64_t complied, reason;
    int64_t on_path;       /* it moves along its path */
    int64_t stand_us;
    int64_t has_present, has_pending, has_permit, permit_us, has_began, began_us, has_goal, goal_us;
    struct played_change present, pending;
    struct played_course course;
    struct played_motion motion;
    struct played_clock clock;
    int64_t trajectory, first_index, next_index, next_switch, has_last;
    int64_t configured;
    int64_t digest[PLAYED_DIGEST_WORDS];
    char cause[PLAYED_CAUSE_BYTES];
};

enum played_event {
    PLAYED_START,
    PLAYED_RESUME,
    PLAYED_HOLD,
    PLAYED_FINISH,
    PLAYED_STOP,
    PLAYED_HOME,
    PLAYED_OUTPUTS,
    PLAYED_CURRENT_REDUCED,
    PLAYED_CURRENT_FULL
};

struct played_truth {
    double at_us;
    double position; /* counts, as the core has it */
    double path_us;
    int64_t event, trajectory, plan, outputs, inputs;
    int64_t shift;   /* added to all positions up to then */
};

struct played_point {
    int64_t time_us, position, velocity, last, mask, values;
};

struct played_configuration {
    int64_t counts_per_turn, full_step, has_range, range_low, range_high, velocity, acceleration, jog_unhomed;
    int64_t direction, travel, backoff, fast, slow, home;
    int64_t temperature_limit_centi_c, supply_limit_mv, run_current_ma, hold_current_ma;
    int64_t has_outputs_off, on_hold, on_stop, on_lost;
    int64_t has_idle_current, after_ms, current_ma;
    int64_t ramp_rows;
    int64_t ramp[UJ_MAX_RAMP_ROWS][2]; /* time, rate */
    char name[UJ_NAME_CHARACTERS + 8];
};

struct played_message {
    uint32_t connection;
    unsigned kind; /* enum played_kind */
    size_t at, length;
};

enum played_kind { PLAYED_BINARY, PLAYED_TEXT, PLAYED_CLOSE };

struct played {
    struct played_now now;
    struct played_seen seen;
    struct uj_machine machine;
    char firmware[PLAYED_FIRMWARE_BYTES];
    int64_t motor, shift;
    enum uj_state state; /* that the world was told last */
    bool reduced;        /* the same */
    size_t taken;        /* of the messages */
    size_t sent;         /* bytes */
    struct played_truth truths[PLAYED_TRUTHS];
    struct played_message messages[PLAYED_MESSAGES];
    uint8_t bytes[PLAYED_BYTES];
};

/* The answer to a datagram. */
struct played_answer {
    uint8_t status[UJ_STATUS_BYTES];   /* of one with a status */
    uint8_t reply[PLAYED_REPLY_BYTES]; /* for played_seal */
};

struct played_settings {
    const uint8_t *key; /* UJ_KEY_BYTES */
    const uint8_t *id;  /* UJ_JOINT_ID_BYTES */
    const char *firmware;
    int64_t boot, udp, point_capacity, max_step_rate_hz, inputs, outputs, idle_current;
};

/* Bytes that a block needs, at an address that a uint64_t may have. */
size_t played_size(void);

/* Begins a boot. */
void played_begin(struct played *played, const struct played_settings *settings, double now_us);

/* The block is a copy of the one that stands, or stood, at `from`. */
void played_moved(struct played *played, const struct played *from);

/* Time passes. */
void played_run(struct played *played, double now_us);

/* What a network brings: endpoint.h. */
void played_opened(struct played *played, double now_us, uint32_t connection, uint32_t address);
void played_frame(struct played *played, double now_us, uint32_t connection, int text, const uint8_t *bytes,
                  size_t length, const uint8_t *nonce);
void played_closed(struct played *played, double now_us, uint32_t connection);

/* Gives the length of the answer, 0 for none. */
size_t played_datagram(struct played *played, double now_us, const uint8_t *bytes, size_t length,
                       struct played_answer *answer);

/* The answer as it is sent at a time; gives its length. `out` has room for a status datagram. */
size_t played_seal(const struct played *played, const struct played_answer *answer, double now_us, uint8_t *out);

/* Readings: joint.h. A temperature of INT32_MIN, a supply below 0: there is none. */
void played_hall(struct played *played, double now_us, int active);
void played_inputs(struct played *played, double now_us, int inputs);
void played_sense(struct played *played, double now_us, int temperature_centi_c, int supply_mv, int rssi_dbm);
void played_driver_fault(struct played *played, double now_us);

/* The touch control's counters are these from now on. */
void played_touch(struct played *played, int turn, int presses, int long_presses);

/* The oldest message that waits: its length; its connection and kind into `what`. */
size_t played_take(struct played *played, int64_t what[2], uint8_t *out);

/* Truths since the last call, at most PLAYED_TRUTHS; gives how many. */
size_t played_truths(struct played *played, struct played_truth *out);

/* Looking. Points `first` to `end` - 1 by their indices in the trajectory; all are in the buffer. */
void played_points(const struct played *played, uint32_t first, uint32_t end, struct played_point *out);
void played_configuration(const struct played *played, struct played_configuration *out);
int played_lamp(const struct played *played, double now_us);

/* The session's keys of datagrams: in, out. Gives 0 where there are none. */
int played_keys(const struct played *played, uint8_t *in, uint8_t *out);

#endif
