/* The joint: its machine, run by one task. From others only runner_shown and runner_restart may be called. */
#ifndef RUNNER_H
#define RUNNER_H

#include "lamp.h"
#include "machine.h"

struct runner_shown {
    enum uj_word word;
    bool on; /* the word's pattern, now */
    uint8_t fan_percent;
};

/* Makes the joint, before its task starts. */
void runner_begin(const struct uj_settings *settings, const uint8_t key[UJ_KEY_BYTES], const struct uj_shell *shell);

/* Lets happen all that was due, and returns joint time now. The endpoint may then be told something at that time that
 * takes `work_us` more to judge than a datagram does: the steps of that time are handed over already, and those that were
 * not needed are taken back by runner_told. */
double runner_run(double work_us);

/* To be told something right after runner_run; then call runner_told. */
struct uj_endpoint *runner_endpoint(void);
void runner_told(void);

/* A turn without anything told: looks at the hardware, runs, and restarts where that was asked for. */
void runner_turn(void);

/* For the light and the fan. */
struct runner_shown runner_shown(void);

/* The controller restarts at the next turn, unless drivers are on by then. */
void runner_restart(void);

#endif
