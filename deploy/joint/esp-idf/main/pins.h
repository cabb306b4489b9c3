/* Pins and figures of this board, as `idf.py menuconfig` sets them; −1: there is none. */
#ifndef PINS_H
#define PINS_H

#include "sdk.h"

#define PIN_STEP CONFIG_UJ_PIN_STEP
#define PIN_DIRECTION CONFIG_UJ_PIN_DIRECTION
#define PIN_ENABLE CONFIG_UJ_PIN_ENABLE
#define PIN_DRIVER_FAULT CONFIG_UJ_PIN_DRIVER_FAULT
#define PIN_CURRENT CONFIG_UJ_PIN_CURRENT
#define PIN_HALL CONFIG_UJ_PIN_HALL
#define PIN_FAN CONFIG_UJ_PIN_FAN
#define PIN_LIGHT CONFIG_UJ_PIN_LIGHT
#define PIN_KNOB_A CONFIG_UJ_PIN_KNOB_A
#define PIN_KNOB_B CONFIG_UJ_PIN_KNOB_B
#define PIN_KNOB_BUTTON CONFIG_UJ_PIN_KNOB_BUTTON

#define MOST_LINES 4
static const int8_t output_pins[MOST_LINES] = {CONFIG_UJ_PIN_OUTPUT_1, CONFIG_UJ_PIN_OUTPUT_2, CONFIG_UJ_PIN_OUTPUT_3,
                                               CONFIG_UJ_PIN_OUTPUT_4};
static const int8_t input_pins[MOST_LINES] = {CONFIG_UJ_PIN_INPUT_1, CONFIG_UJ_PIN_INPUT_2, CONFIG_UJ_PIN_INPUT_3,
                                              CONFIG_UJ_PIN_INPUT_4};

/* An option that is off is not defined at all. */
#ifdef CONFIG_UJ_HALL_ACTIVE_HIGH
#define HALL_ACTIVE_LEVEL 1
#else
#define HALL_ACTIVE_LEVEL 0
#endif
#ifdef CONFIG_UJ_DIRECTION_REVERSED
#define DIRECTION_REVERSED true
#else
#define DIRECTION_REVERSED false
#endif

/* A pin in a mask; 0 for none. */
static inline uint64_t pin_bit(int pin)
{
    return pin < 0 ? 0 : UINT64_C(1) << pin;
}

/* The first pins that are there, up to the first −1. */
static inline uint8_t lines(const int8_t pins[MOST_LINES])
{
    uint8_t count = 0;
    while (count < MOST_LINES && pins[count] >= 0) {
        count++;
    }
    return count;
}

#endif
