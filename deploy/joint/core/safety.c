#include "safety.h"

#include "body.h"
#include "outputs.h"
#include "text.h"

/* Long before the plastic softens (PLA at 59 degrees C). */
#define FAN_ON_CENTI_C 4500
#define FAN_OFF_CENTI_C 4000

static void tell_stopped(struct uj_joint *joint)
{
    struct uj_event event = {.type = UJ_EVENT_STOPPED};
    event.of.stopped.at_us = uj_body_round(joint->now_us);
    event.of.stopped.level = joint->safety.latched;
    event.of.stopped.position = uj_body_position(joint);
    joint->safety.stop_untold = false;
    uj_outputs_on_stop(joint);
    uj_body_tell(joint, &event);
}

void uj_safety_stop(struct uj_joint *joint, uint8_t level)
{
    struct uj_safety *safety = &joint->safety;
    if (level <= safety->latched) {
        return;
    }
    safety->latched = level;
    safety->stop_untold = true;
    if (uj_state_rests(joint->state)) {
        uj_player_drop_start(joint);
        uj_player_discard(joint);
        if (safety->latched >= UJ_STOP_STOP_AND_RELEASE) {
            uj_body_release(joint);
        }
    } else if (safety->latched == UJ_STOP_RELEASE) {
        uj_body_release(joint);
    } else {
        uj_mover_brake(joint, "a stop came");
        uj_player_discard(joint);
    }
    if (safety->stop_untold && uj_state_rests(joint->state)) {
        tell_stopped(joint);
    }
}

void uj_safety_energise(struct uj_joint *joint)
{
    if (joint->energised || joint->safety.faults != 0 || joint->safety.latched >= UJ_STOP_STOP_AND_RELEASE) {
        return;
    }
    joint->energised = true;
    uj_current_rested(joint);
    uj_body_truth(joint, UJ_TRUTH_DRIVERS, 1);
}

void uj_safety_fault(struct uj_joint *joint, uint16_t fault, const char *message)
{
    struct uj_safety *safety = &joint->safety;
    if ((safety->faults & fault) != 0) {
        return;
    }
    safety->faults |= fault;
    if ((fault & (UJ_FAULT_DRIVER | UJ_FAULT_HALL_SENSOR | UJ_FAULT_STEPS_LOST)) != 0) {
        joint->homed = false;
    }
    if (!uj_state_rests(joint->state)) {
        uj_mover_brake(joint, "a fault was found");
        uj_player_discard(joint);
    } else {
        uj_player_drop_start(joint);
        uj_player_discard(joint);
        if (joint->state != UJ_FAULTED) {
            uj_body_go(joint, UJ_ON_FAULT);
        }
    }
    struct uj_event event = {.type = UJ_EVENT_FAULT};
    event.of.fault.at_us = uj_body_round(joint->now_us);
    event.of.fault.fault = (uint8_t)fault;
    uj_text_copy(event.of.fault.message, message);
    uj_body_tell(joint, &event);
}

/* The fan runs from FAN_ON to FAN_OFF, so that it does not hunt, and where the temperature is not known. */
static void turn_fan(struct uj_safety *safety)
{
    if (!safety->has_temperature || safety->temperature_centi_c >= FAN_ON_CENTI_C) {
        safety->fan_percent = 100;
    } else if (safety->temperature_centi_c < FAN_OFF_CENTI_C) {
        safety->fan_percent = 0;
    }
}

uint16_t uj_safety_causes(const struct uj_joint *joint)
{
    const struct uj_safety *safety = &joint->safety;
    const struct uj_configuration *configuration = &joint->configuration;
    unsigned causes = 0;
    if (safety->driver_reports) {
        causes |= UJ_FAULT_DRIVER;
    }
    if (joint->configured && safety->sensed) {
        if (!safety->has_temperature) {
            causes |= UJ_FAULT_TEMPERATURE_SENSOR;
        } else if (safety->temperature_centi_c > configuration->temperature_limit_centi_c) {
            causes |= UJ_FAULT_OVER_TEMPERATURE;
        }
        if (safety->has_supply && safety->supply_mv < configuration->supply_limit_mv) {
            causes |= UJ_FAULT_SUPPLY_LOW;
        }
    }
    return (uint16_t)causes;
}

static struct uj_text figure(const char *what, int64_t value, const char *unit, int64_t limit)
{
    struct uj_text text = uj_text(what);
    uj_text_number(&text, value);
    uj_text_words(&text, unit);
    uj_text_words(&text, ", the limit is ");
    uj_text_number(&text, limit);
    uj_text_words(&text, unit);
    return text;
}

void uj_safety_compare(struct uj_joint *joint)
{
    turn_fan(&joint->safety);
    const struct uj_configuration *configuration = &joint->configuration;
    const uint16_t causes = uj_safety_causes(joint);
    if ((causes & UJ_FAULT_OVER_TEMPERATURE) != 0) {
        uj_safety_fault(joint, UJ_FAULT_OVER_TEMPERATURE,
                        figure("the temperature is ", joint->safety.temperature_centi_c, " hundredths of a degree C",
                               configuration->temperature_limit_centi_c)
                            .bytes);
    }
    if ((causes & UJ_FAULT_TEMPERATURE_SENSOR) != 0) {
        uj_safety_fault(joint, UJ_FAULT_TEMPERATURE_SENSOR, "the temperature sensor gives no reading");
    }
    if ((causes & UJ_FAULT_SUPPLY_LOW) != 0) {
        uj_safety_fault(
            joint, UJ_FAULT_SUPPLY_LOW,
            figure("the supply is ", joint->safety.supply_mv, " mV", configuration->supply_limit_mv).bytes);
    }
}

void uj_safety_driver(struct uj_joint *joint, bool reports)
{
    joint->safety.driver_reports = reports;
    if (reports) {
        uj_safety_fault(joint, UJ_FAULT_DRIVER, "the motor driver reports a fault");
    }
}

void uj_safety_at_rest(struct uj_joint *joint)
{
    if (!joint->safety.stop_untold) {
        return;
    }
    if (joint->safety.latched >= UJ_STOP_STOP_AND_RELEASE) {
        uj_body_drivers_off(joint);
    }
    tell_stopped(joint);
}
