/* A joint with its hardware: the endpoint, the steps that its motion makes, and readings, each at its instant. */
#ifndef UJ_MACHINE_H
#define UJ_MACHINE_H

#include "endpoint.h"
#include "hardware.h"

struct uj_machine {
    struct uj_endpoint endpoint;
    struct uj_hardware hardware;
    struct uj_steps steps;
    struct uj_motion_piece piece;
    bool fresh; /* `piece` and `moves` are of the motion as it is now */
    bool moves; /* false: the joint rests, and nothing in `piece` counts */
};

/* Begins at a boot. `settings` and `hardware` are copied; settings->truth and ->world are the machine's own. The
 * machine must stay where it is. */
void uj_machine_init(struct uj_machine *machine, const struct uj_settings *settings,
                     const uint8_t arm_key[UJ_KEY_BYTES], const struct uj_shell *shell,
                     const struct uj_hardware *hardware, double now_us);

/* Lets happen all that was due by now, in order: steps, readings, what the joint does by itself. Call it before
 * anything is told the endpoint, with that instant, and when uj_machine_next_us has come. */
void uj_machine_run(struct uj_machine *machine, double now_us);

/* The endpoint was told something: the motion may be another one. */
void uj_machine_told(struct uj_machine *machine);

/* When to call uj_machine_run next, besides all that arrives; steps are a port's own affair. */
double uj_machine_next_us(const struct uj_machine *machine);

#endif
