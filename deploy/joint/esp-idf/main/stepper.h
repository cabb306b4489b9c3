/* The task that makes the motor's steps, by two channels of the pulse peripheral (see ../parts/pulses.h). */
#ifndef STEPPER_H
#define STEPPER_H

/* Starts the task. The joint must be there. */
void stepper_begin(void);

#endif
