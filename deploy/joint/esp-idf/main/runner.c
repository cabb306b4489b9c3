#include "runner.h"

#include "feed.h"
#include "pins.h"
#include "rig.h"
#include "stepper.h"
#include "update.h"

#define LAST_BYTES_MS 200 /* for the radio to send what waits */

static struct uj_machine machine;
static volatile bool restart_asked;
static volatile uint8_t word;
static volatile uint8_t word_is_on;
static volatile uint8_t fan_percent;

void runner_begin(const struct uj_settings *settings, const uint8_t key[UJ_KEY_BYTES], const struct uj_shell *shell)
{
    const struct uj_hardware hardware = rig_hardware();
    uj_machine_init(&machine, settings, key, shell, &hardware, (double)esp_timer_get_time());
}

double runner_run(double work_us)
{
    const double now_us = (double)esp_timer_get_time();
    stepper_unmark();
    for (double more_us = 0;; more_us += UJ_FEED_MORE_US) {
        machine.hardware.ahead_us = UJ_FEED_AHEAD_US + more_us;
        uj_machine_run(&machine, now_us);
        stepper_rest(now_us + machine.hardware.ahead_us);
        if (more_us >= work_us) {
            return now_us;
        }
        stepper_mark(&machine.steps, now_us + machine.hardware.ahead_us);
    }
}

struct uj_endpoint *runner_endpoint(void)
{
    return &machine.endpoint;
}

void runner_told(void)
{
    const struct uj_steps *steps = stepper_take_back((double)esp_timer_get_time() + UJ_FEED_AHEAD_US);
    if (steps != NULL) {
        machine.steps = *steps;
    }
    uj_machine_told(&machine);
}

/* From the joint's task, so that nothing switches the drivers on meanwhile. */
static void restart(void)
{
    uj_endpoint_end(&machine.endpoint);
    vTaskDelay(pdMS_TO_TICKS(LAST_BYTES_MS));
    esp_restart();
}

void runner_turn(void)
{
    rig_look((double)esp_timer_get_time(), !stepper_check());
    const double now_us = runner_run(0);
    const struct uj_joint *joint = &machine.endpoint.joint;
    word = (uint8_t)uj_lamp_word(joint, now_us);
    word_is_on = uj_lamp_is_on(joint, now_us) ? 1 : 0;
    fan_percent = joint->safety.fan_percent;
    if (restart_asked) {
        restart_asked = false;
        if (!rig_drivers_on()) {
            restart();
        }
    }
    if (joint->settings.update->restarts) {
        restart();
    }
}

struct runner_shown runner_shown(void)
{
    return (struct runner_shown){.word = (enum uj_word)word, .on = word_is_on != 0, .fan_percent = fan_percent};
}

void runner_restart(void)
{
    restart_asked = true;
}
