/* Wi-Fi as a station, and the announcement. */
#ifndef STATION_H
#define STATION_H

#include "body.h"
#include "store.h"

/* Connects, and goes on trying; announces the joint. */
void station_begin(const struct store *store, const struct uj_settings *settings);

#endif
