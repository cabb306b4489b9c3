/* The home sensor: each switch with its instant, from an interrupt. */
#ifndef HALL_H
#define HALL_H

#include <stdbool.h>
#include <stdint.h>

struct hall_edge {
    int64_t at_us; /* joint time */
    bool active;
};

/* Needs the interrupt service of the pins. */
void hall_begin(void);

/* Takes the oldest switch that is not taken; false for none. Where switches came too fast to be kept, the level at last
 * comes as one more. */
bool hall_take(struct hall_edge *edge);

#endif
