/* Wi-Fi as a station, and the announcement. */
#ifndef STATION_H
#define STATION_H

#include "body.h"
#include "cable_memory.h"
#include "radio.h"

/* Connects, and goes on trying; announces the joint. */
void station_begin(const struct uj_told *told, const struct uj_settings *settings);

/* How it stands, from any task. */
void station_tell(struct uj_cable_wifi *wifi);

#endif
