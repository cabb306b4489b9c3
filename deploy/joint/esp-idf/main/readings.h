/* Temperature, supply and radio. False: there is no reading, and the joint says so. */
#ifndef READINGS_H
#define READINGS_H

#include <stdbool.h>
#include <stdint.h>

void readings_begin(void);

/* 0.01 °C; false for a broken or shorted thermistor too. */
bool readings_temperature(int16_t *centi_c);

/* mV before the divider. */
bool readings_supply(uint16_t *millivolts);

/* dBm; 0 where unknown. */
int8_t readings_rssi(void);

#endif
