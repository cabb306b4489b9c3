/* This board's side of the seam to a joint's hardware (core/hardware.h). */
#ifndef RIG_H
#define RIG_H

#include "hardware.h"

/* The readings. The board must be there, and the pulses' limits set. */
void rig_begin(void);

/* What the machine is given. */
struct uj_hardware rig_hardware(void);

/* A reading from any task; waits while there is no room. */
void rig_tell(const struct uj_reading *reading);

/* Looks at inputs and driver, once a turn of the joint's task; `pulses_fail`: the step pulses cannot be relied on. */
void rig_look(double now_us, bool pulses_fail);

/* Whether the drivers are on, from any task. */
bool rig_drivers_on(void);

#endif
