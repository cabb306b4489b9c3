/* The joint, and the one lock around it. */
#ifndef GUARD_H
#define GUARD_H

#include "endpoint.h"

/* Joint time: whole µs since the controller started. */
int64_t guard_time_us(void);

/* Makes the joint. Call it once, before any task asks for it. */
void guard_begin(const struct uj_settings *settings, const uint8_t key[UJ_KEY_BYTES], const struct uj_shell *shell);

/* Takes the lock and returns the joint, with every switch of the home sensor told to it at its own instant; *now_us is
 * joint time then. guard_leave must follow soon. */
struct uj_endpoint *guard_enter(double *now_us);

/* The same, but null where the lock is not free within so many ms. */
struct uj_endpoint *guard_try(uint32_t ms, double *now_us);

void guard_leave(void);

/* Grows with each guard_enter, and with each switch of the home sensor: with whatever may have told the joint something.
 * Ask it with the lock taken. */
uint32_t guard_changes(void);

#endif
