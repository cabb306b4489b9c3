#include "current.h"

#include <math.h>

#include "body.h"

void uj_current_init(struct uj_joint *joint)
{
    joint->current.rested_us = joint->now_us;
    joint->current.reduced = false;
    joint->current.settled_us = -INFINITY;
}

void uj_current_full(struct uj_joint *joint)
{
    joint->current.rested_us = joint->now_us;
    if (joint->current.reduced) {
        joint->current.reduced = false;
        joint->current.settled_us = joint->now_us + UJ_CURRENT_SETTLE_US;
    }
}

void uj_current_rested(struct uj_joint *joint)
{
    joint->current.rested_us = joint->now_us;
}

double uj_current_reduces_us(const struct uj_joint *joint)
{
    if (!joint->configured || !joint->configuration.has_idle_current || !joint->energised ||
        joint->current.reduced || !uj_state_rests(joint->state) || joint->state == UJ_ARMED) {
        return INFINITY;
    }
    return joint->current.rested_us + 1e3 * (double)joint->configuration.idle_current.after_ms;
}

void uj_current_reduce(struct uj_joint *joint)
{
    joint->current.reduced = true;
}

bool uj_current_is_reduced(const struct uj_joint *joint)
{
    return joint->current.reduced || joint->now_us < joint->current.settled_us;
}

/* mA in the winding now: 0 with the drivers off or no configuration. */
static int current_ma(const struct uj_joint *joint)
{
    const struct uj_configuration *configuration = &joint->configuration;
    if (!joint->energised || !joint->configured) {
        return 0;
    }
    if (!uj_state_rests(joint->state)) {
        return (int)configuration->run_current_ma;
    }
    return (int)(joint->current.reduced ? configuration->idle_current.current_ma : configuration->hold_current_ma);
}

void uj_current_tell(struct uj_joint *joint)
{
    const int winding_ma = current_ma(joint);
    if (winding_ma != joint->winding_ma) {
        joint->winding_ma = winding_ma;
        uj_body_truth(joint, UJ_TRUTH_CURRENT, winding_ma);
    }
}
