/* Homing: the search for both edges of the home sensor, step by step. */
#ifndef UJ_HOMING_H
#define UJ_HOMING_H

#include <stdbool.h>
#include <stdint.h>

#include "reports.h"

struct uj_joint;

/* What the joint is doing in state homing. The numbers of the wire document's steps stand beside. */
enum uj_homing_step {
    UJ_HOMING_RETURN,  /* before step 1: back to before the place that is kept */
    UJ_HOMING_LEAVE,   /* 1: off the sensor, against the search direction */
    UJ_HOMING_SEARCH,  /* 2: fast to the rising edge */
    UJ_HOMING_BACK,    /* 3: back before it */
    UJ_HOMING_MEASURE, /* 4: slowly over both edges */
    UJ_HOMING_MIDDLE   /* 5: to the middle of both */
};

struct uj_homing_run {
    enum uj_homing_step step;
    bool found;             /* in this step: what it looks for */
    bool was_homed;         /* when this homing began */
    double began_at;        /* position, counts */
    double edge;            /* the rising edge of step 2, counts */
    int64_t rising, falling; /* those of step 4 */
    bool has_rising;        /* in step 4 */
    bool is_listed;         /* the newest passage is the last of the list of edges */
    uint32_t number;        /* of the last homing begun in this session, 0 for none */
    uint8_t list;           /* which of joint->met is of this homing */
};

/* Begins homing `number`; the joint is in state homing already. */
void uj_homing_begin(struct uj_joint *joint, uint32_t number);

/* The home sensor switched while homing, there in counts. */
void uj_homing_edge(struct uj_joint *joint, bool rising, double position);

/* The motion of a step has come to rest. */
void uj_homing_rest(struct uj_joint *joint);

/* Homing is given up: tells why, and what was met. The caller brakes. */
void uj_homing_failed(struct uj_joint *joint, const char *why);

#endif
