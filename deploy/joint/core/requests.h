/* Requests and points of the stream: judged in the document's order, carried out wholly or not at all. */
#ifndef UJ_REQUESTS_H
#define UJ_REQUESTS_H

#include "messages.h"
#include "points.h"
#include "reports.h"

struct uj_joint;

/* The reject code, or UJ_ACCEPTED. `sentence` gets text for people, an empty one where the code says all. */
enum uj_reject uj_requests_take(struct uj_joint *joint, const struct uj_request *request,
                                char sentence[UJ_SENTENCE_BYTES]);

/* A frame of points whose form is sound. */
enum uj_reject uj_requests_points(struct uj_joint *joint, const struct uj_points *points,
                                  char sentence[UJ_SENTENCE_BYTES]);

#endif
