/* The pins that are simply on or off, and the motor's current. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "body.h"

/* Drivers off first of all; then the rest, with the interrupt service of the pins. */
void board_begin(void);

/* What the joint says as it happens: drivers, current, outputs. */
void board_truth(const struct uj_truth *truth);

/* The inputs as they are now, one bit each. */
uint8_t board_inputs(void);

/* Whether the motor driver reports a fault. False where no pin is wired for it. */
bool board_driver_fault(void);

/* The fan at so many percent. */
void board_fan(uint8_t percent);

#endif
