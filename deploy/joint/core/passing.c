#include "passing.h"

#include <math.h>

#include "numbers.h"

double uj_bounce(const struct uj_configuration *configuration)
{
    return (double)configuration->counts_per_turn / UJ_BOUNCE_PER_TURN;
}

void uj_passing_change(struct uj_passing *passing, double position, double velocity,
                       const struct uj_configuration *configuration)
{
    const int direction = fabs(velocity) < UJ_STILL ? 0 : signbit(velocity) ? -1 : 1;
    passing->heading = direction;
    const bool near = passing->known && fabs(position - passing->first) < uj_bounce(configuration);
    passing->turned_round = near && passing->direction * direction < 0;
    passing->begins = !near || passing->turned_round;
    if (passing->begins) {
        passing->counts = true;
        passing->place = position;
        passing->known = true;
        passing->first = position;
        passing->direction = direction;
    } else {
        /* As if it had switched once, and been active over as much of the way: first - second + third. */
        passing->counts = !passing->counts;
        passing->place = position - passing->place;
        passing->direction = passing->direction != 0 ? passing->direction : direction;
    }
}
