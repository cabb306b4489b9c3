/* A thermistor of 10 kΩ at 25 °C with a B of 3950 K, from the input to ground, with 10 kΩ from the input to the supply
 * of the converter. */
#ifndef UJ_NTC_H
#define UJ_NTC_H

#include <stdbool.h>
#include <stdint.h>

/* The temperature in 0.01 °C at that many mV of `full_mv`. False, and *centi_c as it was, below −20 °C and above
 * 120 °C: there the wire is broken or has a short circuit, and a joint must not take it for cold. */
bool uj_ntc_read(int32_t millivolts, int32_t full_mv, int16_t *centi_c);

#endif
