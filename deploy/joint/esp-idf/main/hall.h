/* The home sensor: each switch with its instant, from an interrupt. */
#ifndef HALL_H
#define HALL_H

#include "hardware.h"
#include "sdk.h"

/* Switches go into `queue` of struct uj_reading. Needs the interrupt service of the pins. */
void hall_begin(QueueHandle_t queue);

/* Where switches came too fast for the queue, and at first: the level as it is now. False where none was missed. */
bool hall_missed(double at_us, struct uj_reading *reading);

#endif
