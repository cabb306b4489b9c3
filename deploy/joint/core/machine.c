#include "machine.h"

#include <math.h>

static void on_truth(void *world, const struct uj_truth *truth)
{
    struct uj_machine *machine = world;
    machine->fresh = false;
    if (truth->kind == UJ_TRUTH_SHIFT) {
        uj_steps_shift(&machine->steps, truth->value);
    } else if (truth->kind == UJ_TRUTH_DRIVERS) {
        /* Wherever the rotor stands: from now on that is where the joint takes it to be. What was handed over ahead of
         * time stays so: no step may come before that. */
        double position;
        double velocity;
        uj_joint_where(&machine->endpoint.joint, truth->at_us, &position, &velocity);
        const uj_time handed = uj_steps_at(&machine->steps);
        uj_steps_begin(&machine->steps, &machine->hardware.limits, uj_time_from_us(truth->at_us),
                       uj_body_round(position));
        uj_steps_rest(&machine->steps, handed);
    }
    machine->hardware.truth(machine->hardware.context, truth);
}

void uj_machine_init(struct uj_machine *machine, const struct uj_settings *settings,
                     const uint8_t arm_key[UJ_KEY_BYTES], const struct uj_shell *shell,
                     const struct uj_hardware *hardware, double now_us)
{
    struct uj_settings own = *settings;
    own.truth = on_truth;
    own.world = machine;
    machine->hardware = *hardware;
    machine->fresh = false;
    uj_steps_begin(&machine->steps, &hardware->limits, uj_time_from_us(now_us), 0);
    uj_endpoint_init(&machine->endpoint, &own, arm_key, shell, now_us);
}

void uj_machine_told(struct uj_machine *machine)
{
    machine->fresh = false;
}

/* The steps before `until_us`. True: a reading is to be taken first. */
static bool give_steps(struct uj_machine *machine, double until_us)
{
    const uj_time until = uj_time_from_us(until_us);
    for (;;) {
        if (!machine->fresh) {
            const uj_time at = uj_steps_at(&machine->steps);
            machine->moves = uj_joint_piece(&machine->endpoint.joint, uj_time_to_us(at), &machine->piece);
            machine->fresh = true;
            if (!machine->moves) {
                machine->piece.to = at; /* steps that the driver's limits have put off still come */
            }
        }
        struct uj_step step;
        switch (uj_steps_next(&machine->steps, &machine->piece, until, &step)) {
        case UJ_STEPS_STEP:
            if (machine->hardware.step(machine->hardware.context, &step)) {
                return true;
            }
            break;
        case UJ_STEPS_PIECE:
            if (!machine->moves) {
                uj_steps_rest(&machine->steps, until);
                machine->piece.to = until;
                return false;
            }
            machine->fresh = false;
            break;
        case UJ_STEPS_UNTIL:
        default:
            return false;
        }
    }
}

static void take(struct uj_joint *joint, const struct uj_reading *reading)
{
    const double at_us = reading->at_us;
    switch (reading->kind) {
    case UJ_READING_HALL:
        uj_joint_hall(joint, at_us, reading->of.active);
        break;
    case UJ_READING_INPUTS:
        uj_joint_input(joint, at_us, reading->of.inputs);
        break;
    case UJ_READING_SENSE:
        uj_joint_sense(joint, at_us, reading->of.sense.has_temperature ? &reading->of.sense.temperature_centi_c : NULL,
                       reading->of.sense.has_supply ? &reading->of.sense.supply_mv : NULL,
                       reading->of.sense.rssi_dbm);
        break;
    case UJ_READING_DRIVER:
        uj_joint_driver(joint, at_us, reading->of.active);
        break;
    case UJ_READING_TURN:
        uj_joint_turn(joint, at_us, reading->of.detents);
        break;
    case UJ_READING_PRESS:
        uj_joint_press(joint, at_us, reading->of.active);
        break;
    }
}

static void take_readings(struct uj_machine *machine, double until_us)
{
    struct uj_reading reading;
    while (machine->hardware.read(machine->hardware.context, until_us, &reading)) {
        take(&machine->endpoint.joint, &reading);
        machine->fresh = false;
    }
}

void uj_machine_run(struct uj_machine *machine, double now_us)
{
    double due_us;
    bool first; /* a reading comes before what is due, which may then be another thing */
    do {
        due_us = fmin(uj_machine_next_us(machine), now_us);
        first = give_steps(machine, due_us + machine->hardware.ahead_us);
        take_readings(machine, due_us);
        if (!first) {
            uj_endpoint_poll(&machine->endpoint, due_us);
            machine->fresh = false;
        }
    } while (first || due_us < now_us);
}

double uj_machine_next_us(const struct uj_machine *machine)
{
    return fmin(uj_endpoint_next_deadline(&machine->endpoint), machine->hardware.next_us(machine->hardware.context));
}
