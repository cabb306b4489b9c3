/* Stops, drivers, faults and the readings that find them. */
#ifndef UJ_SAFETY_H
#define UJ_SAFETY_H

#include <stdbool.h>
#include <stdint.h>

struct uj_joint;

struct uj_safety {
    uint8_t latched;       /* enum uj_stop */
    bool stop_untold;      /* the level rose, and event-stopped is to be sent at rest */
    uint16_t faults;       /* UJ_FAULT_… */
    bool driver_reports;   /* the motor driver reports a fault now */
    bool sensed;           /* there has been a reading, or word that there is none */
    bool has_temperature;
    int16_t temperature_centi_c;
    bool has_supply;
    uint16_t supply_mv;
    int8_t rssi_dbm;
    uint8_t fan_percent;
};

/* A drive carries this stop level (not 0). One that is not above the latched level changes nothing. */
void uj_safety_stop(struct uj_joint *joint, uint8_t level);

/* A drive asks for the drivers, and carries no stop. */
void uj_safety_energise(struct uj_joint *joint);

/* A fault (one bit of UJ_FAULT_…) is there. One that is there already is not told again. */
void uj_safety_fault(struct uj_joint *joint, uint16_t fault, const char *message);

/* Readings came: the fan follows, and once the joint is configured they are compared with its limits. */
void uj_safety_compare(struct uj_joint *joint);

/* The motor driver reports a fault, or no longer does. */
void uj_safety_driver(struct uj_joint *joint, bool reports);

/* Bits of the faults whose cause is there now. */
uint16_t uj_safety_causes(const struct uj_joint *joint);

/* The joint has come to rest: what was to be done then for a stop or a lost link. Call it in the state of rest, or
 * in stopping right before it. */
void uj_safety_at_rest(struct uj_joint *joint);
#endif
