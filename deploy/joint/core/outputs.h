/* The outputs: switched by points, by a drive, or by themselves. */
#ifndef UJ_OUTPUTS_H
#define UJ_OUTPUTS_H

#include <stdint.h>

struct uj_joint;

/* Sets those of the mask that the joint has to their values. */
void uj_outputs_set(struct uj_joint *joint, uint8_t mask, uint8_t values);

/* Switches every point up to path_us (µs) that has not been switched. */
void uj_outputs_pass(struct uj_joint *joint, int64_t path_us);

/* By themselves, as the configuration says: the joint holds, a stop is latched and it rests, no drive comes. */
void uj_outputs_on_hold(struct uj_joint *joint);
void uj_outputs_on_stop(struct uj_joint *joint);
void uj_outputs_on_lost(struct uj_joint *joint);

#endif
