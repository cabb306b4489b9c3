/* The seam of the rules: a drive, a request, a reading or time goes in; status and events come out.
 *
 * Every function takes `now_us`, joint time in µs, which never goes back (an earlier one counts as the latest
 * seen). Each first lets happen what was due by then, every thing at its own instant, so a late caller changes
 * nothing; what comes of the call itself at that very instant is due then. Nothing here asks a clock, allocates, or fails but by what it returns. */
#ifndef UJ_JOINT_H
#define UJ_JOINT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "body.h"
#include "drive.h"
#include "messages.h"
#include "piece.h"
#include "points.h"
#include "status.h"

/* Begins a joint at a boot: unhomed, drivers and outputs off, no session, no configuration. `settings` is copied. */
void uj_joint_init(struct uj_joint *joint, const struct uj_settings *settings, double now_us);

/* Takes a drive that passed the checks of a datagram but those of session and sequence. Returns false, having
 * changed nothing, where the session is not the one in force or the sequence is not newer. */
bool uj_joint_drive(struct uj_joint *joint, double now_us, const struct uj_drive *drive);

/* Carries out a request. Returns the reject code, or UJ_ACCEPTED. `sentence` gets text for people with the 0 at
 * its end: an empty one where the code says all. */
enum uj_reject uj_joint_request(struct uj_joint *joint, double now_us, const struct uj_request *request,
                                char sentence[UJ_SENTENCE_BYTES]);

/* Takes a frame of points whose form is sound. Returns and writes as uj_joint_request. */
enum uj_reject uj_joint_points(struct uj_joint *joint, double now_us, const struct uj_points *points,
                               char sentence[UJ_SENTENCE_BYTES]);

/* Begins a session that uj_session_judge accepts, or goes on with the one in force. Returns whether it is new. */
bool uj_joint_session(struct uj_joint *joint, double now_us, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                      uint64_t session);

/* A valid frame came on the proven stream: the coordinator was heard. */
void uj_joint_heard(struct uj_joint *joint, double now_us);

/* The home sensor shows this level from now on. The position is taken from the motion at `now_us`. */
void uj_joint_hall(struct uj_joint *joint, double now_us, bool active);

/* The inputs read so, one bit each. */
void uj_joint_input(struct uj_joint *joint, double now_us, uint8_t inputs);

/* Readings, about once a second; NULL where there is none. Temperature in 0.01 °C, supply in mV, rssi in dBm. */
void uj_joint_sense(struct uj_joint *joint, double now_us, const int16_t *temperature_centi_c,
                    const uint16_t *supply_mv, int8_t rssi_dbm);

/* The motor driver reports a fault (true), or no longer does. */
void uj_joint_driver(struct uj_joint *joint, double now_us, bool reports_fault);

/* The touch control was turned by so many detents, to larger angles positive. */
void uj_joint_turn(struct uj_joint *joint, double now_us, int16_t detents);

/* The touch control is pressed (true) or let go. */
void uj_joint_press(struct uj_joint *joint, double now_us, bool down);

/* Lets happen what was due by now. */
void uj_joint_poll(struct uj_joint *joint, double now_us);

/* Joint time of what happens next by itself; INFINITY where nothing does. The light (lamp.h) blinks without: look at it
 * every few ms. */
double uj_joint_next_deadline(const struct uj_joint *joint);

/* All that the joint says of itself at the time of the last call. */
void uj_joint_status(const struct uj_joint *joint, struct uj_status *status);

/* Takes the oldest event not taken yet; false where there is none. At most UJ_EVENTS_KEPT are kept, the oldest
 * dropped first. */
bool uj_joint_take_event(struct uj_joint *joint, struct uj_event *event);

/* Where the motor is commanded to be at `now_us` (counts, counts/s), after a poll to that time and before the next
 * deadline. */
void uj_joint_where(const struct uj_joint *joint, double now_us, double *position, double *velocity);

/* The piece of motion that holds at `now_us`, as things are now; false where the joint rests. For steps.h: ask again
 * after every call that takes `now_us`, and at the end of the piece. */
bool uj_joint_piece(const struct uj_joint *joint, double now_us, struct uj_motion_piece *piece);

#endif
