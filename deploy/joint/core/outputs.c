#include "outputs.h"

#include "body.h"

void uj_outputs_set(struct uj_joint *joint, uint8_t mask, uint8_t values)
{
    const unsigned here = (1u << joint->settings.capabilities.outputs) - 1u;
    const unsigned set = mask & here;
    const uint8_t outputs = (uint8_t)((joint->outputs & ~set) | (values & set));
    if (outputs != joint->outputs) {
        joint->outputs = outputs;
        uj_body_truth(joint, UJ_TRUTH_OUTPUTS, outputs);
    }
}

void uj_outputs_pass(struct uj_joint *joint, int64_t path_us)
{
    uint8_t mask;
    uint8_t values;
    while (uj_buffer_switch(&joint->buffer, path_us, &mask, &values)) {
        uj_outputs_set(joint, mask, values);
    }
}

void uj_outputs_on_hold(struct uj_joint *joint)
{
    uj_outputs_set(joint, (uint8_t)joint->configuration.outputs_off.on_hold, 0);
}

void uj_outputs_on_stop(struct uj_joint *joint)
{
    uj_outputs_set(joint, (uint8_t)joint->configuration.outputs_off.on_stop, 0);
}

void uj_outputs_on_lost(struct uj_joint *joint)
{
    uj_outputs_set(joint, (uint8_t)joint->configuration.outputs_off.on_lost, 0);
}
