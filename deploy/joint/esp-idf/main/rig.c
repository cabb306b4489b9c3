#include "rig.h"

#include <math.h>

#include "board.h"
#include "feed.h"
#include "hall.h"
#include "steady.h"
#include "stepper.h"

#define READINGS 32

static QueueHandle_t readings;
static volatile bool drivers_on;

static bool on_step(void *context, const struct uj_step *step)
{
    (void)context;
    stepper_step(step);
    return false; /* a step ahead of time tells no reading */
}

static void on_truth(void *context, const struct uj_truth *truth)
{
    (void)context;
    if (truth->kind == UJ_TRUTH_DRIVERS || truth->kind == UJ_TRUTH_SHIFT) {
        stepper_unmark(); /* the steps count from elsewhere now */
    }
    if (truth->kind == UJ_TRUTH_DRIVERS) {
        drivers_on = truth->value != 0;
    }
    board_truth(truth);
}

static bool on_read(void *context, double until_us, struct uj_reading *reading)
{
    (void)context;
    if (xQueuePeek(readings, reading, 0) == pdTRUE) {
        return reading->at_us <= until_us && xQueueReceive(readings, reading, 0) == pdTRUE;
    }
    return hall_missed(until_us, reading);
}

static double on_next_us(void *context)
{
    (void)context;
    return INFINITY;
}

void rig_begin(void)
{
    readings = xQueueCreate(READINGS, sizeof(struct uj_reading));
    ESP_ERROR_CHECK(readings != NULL ? ESP_OK : ESP_ERR_NO_MEM);
    hall_begin(readings);
}

struct uj_hardware rig_hardware(void)
{
    return (struct uj_hardware){.limits = stepper_limits(),
                                .ahead_us = UJ_FEED_AHEAD_US,
                                .step = on_step,
                                .truth = on_truth,
                                .read = on_read,
                                .next_us = on_next_us};
}

void rig_tell(const struct uj_reading *reading)
{
    (void)xQueueSend(readings, reading, portMAX_DELAY);
}

/* From the task that takes the readings: it cannot wait for room, and looks again at the next turn. */
static bool try_tell(const struct uj_reading *reading)
{
    return xQueueSend(readings, reading, 0) == pdTRUE;
}

void rig_look(double now_us, bool pulses_fail)
{
    static struct uj_steady inputs;
    static bool told_fault;
    const bool fault = pulses_fail || board_driver_fault();
    const uint8_t now = board_inputs();
    if (fault != told_fault &&
        try_tell(&(struct uj_reading){.at_us = now_us, .kind = UJ_READING_DRIVER, .of.active = fault})) {
        told_fault = fault;
    }
    if (uj_steady_take(&inputs, now) &&
        try_tell(&(struct uj_reading){.at_us = now_us, .kind = UJ_READING_INPUTS, .of.inputs = now})) {
        inputs.told = now;
    }
}

bool rig_drivers_on(void)
{
    return drivers_on;
}
