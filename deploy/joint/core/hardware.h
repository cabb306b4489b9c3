/* The seam between a joint and its hardware: a port implements it, machine.h uses it. Joint time throughout, µs.
 *
 * Commands go out by `step` and `truth`, readings come in by `read`. None of these may call the machine. */
#ifndef UJ_HARDWARE_H
#define UJ_HARDWARE_H

#include <stdbool.h>
#include <stdint.h>

#include "body.h"
#include "steps.h"

enum uj_reading_kind {
    UJ_READING_HALL,   /* the home sensor shows another level */
    UJ_READING_INPUTS, /* the inputs read so */
    UJ_READING_SENSE,  /* temperature, supply and radio, about once a second */
    UJ_READING_DRIVER, /* the motor driver reports a fault, or no longer does */
    UJ_READING_TURN,   /* the touch control was turned */
    UJ_READING_PRESS   /* the touch control was pressed or let go */
};

struct uj_reading {
    double at_us; /* when it came */
    enum uj_reading_kind kind;
    union {
        bool active;     /* HALL: level; DRIVER: reports a fault; PRESS: is down */
        uint8_t inputs;  /* INPUTS: one bit each */
        int16_t detents; /* TURN: to larger angles positive */
        struct {
            bool has_temperature;
            int16_t temperature_centi_c;
            bool has_supply;
            uint16_t supply_mv;
            int8_t rssi_dbm; /* 0 where unknown */
        } sense;
    } of;
};

struct uj_hardware {
    void *context;
    struct uj_driver_limits limits;
    double ahead_us; /* steps are handed over so long before they are due; 0 in a simulated world. May be changed between
                      * calls of the machine */

    /* One step of the motor, in the order of time. True: readings are there that the joint must have before more
     * steps are asked for. */
    bool (*step)(void *context, const struct uj_step *step);

    /* Drivers, current, outputs and state as they change (body.h); for UJ_TRUTH_SHIFT nothing is to be done. */
    void (*truth)(void *context, const struct uj_truth *truth);

    /* Takes the oldest reading that had come by `until_us` and was not taken yet; false where there is none. */
    bool (*read)(void *context, double until_us, struct uj_reading *reading);

    /* When the next reading comes by itself; INFINITY where nobody knows, as of real hardware. */
    double (*next_us)(void *context);
};

#endif
