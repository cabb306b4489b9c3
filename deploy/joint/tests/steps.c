/* Makes motor steps of the motions that are written on standard input, for tests and for the bench. Each line is a
 * word and whole numbers; times are µs.
 *
 *   limits HIGH LOW SETUP HOLD       of the driver, 1/256 µs
 *   ramp ROWS T R T R …
 *   point TIME POSITION VELOCITY FLAGS
 *   map JOINT NUMBER ARM JOINT RATE AT_REST   taken at joint time JOINT
 *   begin JOINT                      stands at the first point, or at position 0 without points
 *   pend JOINT AT PATH BEFORE AFTER  a start or an override
 *   permit JOINT PATH
 *   fall JOINT
 *   advance JOINT TARGET
 *   jog JOINT VELOCITY ACCELERATION  free motion from here on
 *   target JOINT POSITION SPEED ACCELERATION
 *   ahead TIME                       steps are made ahead of every line's JOINT by so much
 *   end JOINT                        up to here
 *
 * What the joint could not be asked at that time (an override that is not sound, a fall at rest) is passed over.
 *
 * `end` answers in binary, eight bytes each in the machine's order: how many numbers follow; phase, path time, position
 * of the motor (1/256 count), commanded position (1/1024 count), the event that comes next on the path and its arm time
 * (1/256 µs), the effective permit (-1 for none), number of legs, the legs of the last free motion (four doubles each),
 * then for each step twice its instant in 1/256 µs, plus 1 where it goes up, and the instant at which the direction is
 * set, or 0. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "free_motion.h"
#include "path.h"
#include "steps.h"

#define MOST 4000000

static struct uj_ramp ramp;
static struct uj_buffer buffer;
static struct uj_clock arm_clock;
static struct uj_path path;
static struct uj_free_motion motion;
static bool off_path;
static struct uj_driver_limits limits;
static struct uj_steps steps;
static struct uj_motion_piece piece;
static bool has_piece;
static int64_t made[2 * MOST];
static size_t count;
static int64_t ahead_us;

static int64_t number(void)
{
    int64_t value = 0;
    if (scanf("%" SCNd64, &value) != 1) {
        fprintf(stderr, "steps: a number is missing\n");
        exit(2);
    }
    return value;
}

/* Lets happen what is due on the path by then. */
static void drain(double joint_us)
{
    double arm_us;
    if (!uj_clock_has_map(&arm_clock)) {
        return;
    }
    const double now_us = uj_clock_arm_us(&arm_clock, joint_us);
    for (;;) {
        const enum uj_path_event event = uj_path_next(&path, &buffer, &arm_us);
        int64_t permit_us;
        uint8_t mask;
        uint8_t values;
        if (event == UJ_PATH_NOTHING || arm_us > now_us) {
            return;
        }
        if (event == UJ_PATH_START) {
            if (uj_path_effective_permit(&path, &buffer, &permit_us) && permit_us > path.stand_us) {
                uj_path_start(&path);
            } else {
                uj_path_drop(&path);
            }
        } else if (event == UJ_PATH_SWITCH) {
            (void)uj_buffer_switch(&buffer, uj_time_round_us(uj_path_progress(&path, arm_us).path), &mask, &values);
        } else {
            uj_path_happen(&path, &buffer, event, arm_us);
        }
    }
}

static bool ask_piece(void)
{
    const double joint_us = uj_time_to_us(uj_steps_at(&steps));
    return off_path ? uj_free_piece(&motion, joint_us, &piece)
                    : uj_path_piece(&path, &buffer, &arm_clock, joint_us, &piece);
}

static void make(double until_us)
{
    const uj_time until = uj_time_from_us(until_us);
    while (uj_steps_at(&steps) < until || steps.left > 0) {
        struct uj_step step;
        double arm_us;
        if (!has_piece && steps.left == 0) {
            has_piece = ask_piece();
            if (!has_piece) {
                uj_time to = until;
                if (!off_path && uj_path_next(&path, &buffer, &arm_us) == UJ_PATH_START) {
                    const uj_time start = uj_time_from_us(uj_clock_joint_us(&arm_clock, arm_us)) + 1;
                    to = start < until && start > uj_steps_at(&steps) ? start : until;
                }
                uj_steps_rest(&steps, to);
                continue;
            }
        }
        const enum uj_steps_result result = uj_steps_next(&steps, &piece, until, &step);
        if (result == UJ_STEPS_UNTIL) {
            return;
        }
        if (result == UJ_STEPS_PIECE) {
            has_piece = false;
            continue;
        }
        if (count == MOST) {
            fprintf(stderr, "steps: too many\n");
            exit(2);
        }
        made[2 * count] = step.at * 2 + (step.up ? 1 : 0);
        made[2 * count + 1] = step.turns ? step.turn_at : 0;
        count++;
    }
}

/* Up to a line's joint time; then things change. */
static double reach(void)
{
    const double joint_us = (double)number();
    make(joint_us + (double)ahead_us);
    drain(joint_us);
    if (!off_path && path.phase != UJ_PATH_STANDS) {
        uj_path_free(&path, &buffer, uj_clock_arm_us(&arm_clock, joint_us));
    }
    has_piece = false;
    return joint_us;
}

static double arm_of(double joint_us)
{
    return uj_clock_arm_us(&arm_clock, joint_us);
}

static void put(int64_t value)
{
    fwrite(&value, sizeof value, 1, stdout);
}

static void answer(double joint_us)
{
    double position;
    double velocity;
    if (off_path) {
        uj_free_at(&motion, joint_us, &position, &velocity);
    } else {
        uj_path_where(&path, &buffer, arm_of(joint_us), &position, &velocity);
    }
    double arm_us = 0;
    int64_t permit_us = -1;
    const enum uj_path_event event = uj_path_next(&path, &buffer, &arm_us);
    (void)uj_path_effective_permit(&path, &buffer, &permit_us);
    put((int64_t)(8 + 4 * motion.legs + 2 * count));
    put(path.phase);
    put(off_path ? 0 : uj_path_progress(&path, arm_of(joint_us)).path);
    put(uj_steps_position(&steps));
    put((int64_t)(position * 1024));
    put(event);
    put((int64_t)(arm_us * 256));
    put(permit_us);
    put(motion.legs);
    for (uint32_t i = 0; i < motion.legs; i++) {
        const double leg[4] = {motion.leg[i].from_us, motion.leg[i].position, motion.leg[i].velocity,
                               motion.leg[i].acceleration};
        fwrite(leg, sizeof leg, 1, stdout);
    }
    fwrite(made, 2 * sizeof made[0], count, stdout);
    fflush(stdout);
}

static void clear(void)
{
    uj_buffer_clear(&buffer);
    uj_clock_clear(&arm_clock);
    uj_path_begin(&path, &ramp);
    memset(&motion, 0, sizeof motion);
    off_path = false;
    has_piece = false;
    count = 0;
}

static void free_from(double joint_us, double *position, double *velocity)
{
    if (off_path) {
        uj_free_at(&motion, joint_us, position, velocity);
    } else if (buffer.count > 0 && uj_clock_has_map(&arm_clock)) {
        uj_path_where(&path, &buffer, arm_of(joint_us), position, velocity);
    } else {
        *position = 0;
        *velocity = 0;
    }
    off_path = true;
}

static void carry_out(const char *word)
{
    double position;
    double velocity;
    if (strcmp(word, "ahead") == 0) {
        ahead_us = number();
    } else if (strcmp(word, "limits") == 0) {
        limits.high = (uint32_t)number();
        limits.low = (uint32_t)number();
        limits.setup = (uint32_t)number();
        limits.hold = (uint32_t)number();
    } else if (strcmp(word, "ramp") == 0) {
        static struct uj_ramp_row rows[UJ_MAX_RAMP_ROWS]; /* of the ramp, which does not copy them */
        const uint32_t many = (uint32_t)number() % (UJ_MAX_RAMP_ROWS + 1);
        for (uint32_t i = 0; i < many; i++) {
            rows[i].time_us = number();
            rows[i].rate_ppm = number();
        }
        uj_ramp_make(&ramp, many, rows);
        clear();
    } else if (strcmp(word, "point") == 0) {
        struct uj_point *point = &buffer.ring[buffer.count % UJ_POINT_CAPACITY];
        buffer.count++;
        point->time_us = number();
        point->position = number();
        point->velocity = (int32_t)number();
        point->flags = (uint8_t)number();
        buffer.next_switch = buffer.count;
    } else if (strcmp(word, "begin") == 0) {
        const int64_t joint_us = number();
        uj_steps_begin(&steps, &limits, joint_us * UJ_TIME_PER_US, buffer.count > 0 ? buffer.ring[0].position : 0);
    } else if (strcmp(word, "map") == 0) {
        const double joint_us = arm_clock.map.number == 0 ? (double)number() : reach();
        struct uj_map map;
        map.number = (uint32_t)number();
        map.arm_us = number();
        map.joint_us = number();
        map.rate_ppb = (int32_t)number();
        (void)uj_clock_take(&arm_clock, &map, joint_us, number() != 0);
    } else if (strcmp(word, "pend") == 0) {
        const double joint_us = reach();
        struct uj_change change;
        change.at_us = number();
        change.path_us = number();
        change.before_ppm = (uint32_t)number();
        change.after_ppm = (uint32_t)number();
        if (path.phase == UJ_PATH_MOVES &&
            uj_path_judge(&path, &buffer, &change, arm_of(joint_us)) != UJ_OVERRIDE_SOUND) {
            return;
        }
        const bool sound_start = change.before_ppm == 0 && change.after_ppm >= UJ_RATE_MIN_PPM &&
                                 change.path_us == path.stand_us && (double)change.at_us > arm_of(joint_us);
        if (path.phase == UJ_PATH_MOVES || (path.phase == UJ_PATH_STANDS && sound_start)) {
            uj_path_pend(&path, &change, arm_of(joint_us));
        }
    } else if (strcmp(word, "permit") == 0) {
        const double joint_us = reach();
        uj_path_permit(&path, true, number(), arm_of(joint_us));
    } else if (strcmp(word, "fall") == 0) {
        const double joint_us = reach();
        if (path.phase == UJ_PATH_ADVANCES || path.phase == UJ_PATH_MOVES) {
            uj_path_fall(&path, arm_of(joint_us));
        }
    } else if (strcmp(word, "advance") == 0) {
        const double joint_us = reach();
        const int64_t target_us = number();
        if (path.phase == UJ_PATH_STANDS && target_us > path.stand_us && uj_buffer_reaches(&buffer, target_us)) {
            uj_path_advance(&path, target_us, arm_of(joint_us));
        }
    } else if (strcmp(word, "jog") == 0) {
        const double joint_us = reach();
        free_from(joint_us, &position, &velocity);
        const double wanted = (double)number();
        uj_free_to_velocity(&motion, joint_us, position, velocity, wanted, (double)number());
    } else if (strcmp(word, "target") == 0) {
        const double joint_us = reach();
        free_from(joint_us, &position, &velocity);
        const double target = (double)number();
        const double speed = (double)number();
        uj_free_to_target(&motion, joint_us, position, velocity, target, speed, (double)number());
    } else if (strcmp(word, "end") == 0) {
        answer(reach());
    } else {
        fprintf(stderr, "steps: unknown word %s\n", word);
        exit(2);
    }
}

int main(void)
{
    char word[16];
    while (scanf("%15s", word) == 1) {
        carry_out(word);
    }
    return 0;
}
