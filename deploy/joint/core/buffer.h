/* The points of the loaded trajectory: a ring of UJ_POINT_CAPACITY, filled by frames of points and freed behind
 * the segment in which the joint is.
 *
 * A frame is taken wholly or not at all: all its points are checked where they were received, then copied. That
 * takes no memory but the frame and the newest point before it.
 */
#ifndef UJ_BUFFER_H
#define UJ_BUFFER_H

#include "segments.h"
#include "whole.h"

#ifndef UJ_POINT_CAPACITY
#define UJ_POINT_CAPACITY 512
#endif

struct uj_buffer {
    uint32_t trajectory;  /* loaded; 0: none */
    uint32_t first_index; /* index of the oldest point in the ring */
    uint32_t count;       /* points in the ring */
    uint32_t head;        /* where the oldest point stands in the ring */
    uint32_t next_switch; /* index of the next point that switches outputs; next_index where none is known */
    struct uj_point ring[UJ_POINT_CAPACITY];
};

/* What a frame of points must keep, from the build and the configuration. */
struct uj_point_limits {
    uint32_t capacity; /* points that the buffer takes, at most UJ_POINT_CAPACITY */
    bool has_range;
    int64_t range_low, range_high; /* counts */
    double velocity;               /* counts/s */
    double acceleration;           /* counts/s², as configured */
};

/* Why a frame was not taken, for the sentence of the reject. */
struct uj_buffer_trouble {
    uint32_t index;              /* of the point in its trajectory */
    enum uj_segment_fault limit; /* for UJ_REJECT_SEGMENT */
};

/* Forgets everything. */
void uj_buffer_clear(struct uj_buffer *buffer);

/* Takes a frame whose form is sound (points.h). Returns UJ_ACCEPTED, also for a frame whose points are all known
 * already, or the code of the first check that fails, from message-invalid for trajectory 0 on; then nothing has
 * changed and `trouble` says where. An empty buffer takes any trajectory that begins at index 0. */
enum uj_reject uj_buffer_take(struct uj_buffer *buffer, const struct uj_points *frame,
                              const struct uj_point_limits *limits, struct uj_buffer_trouble *trouble);

/* Index of the point that is lacking next; 0 with nothing loaded. */
uint32_t uj_buffer_next_index(const struct uj_buffer *buffer);

/* Path time of the newest point, µs; 0 with nothing loaded. */
int64_t uj_buffer_buffered_us(const struct uj_buffer *buffer);

/* Whether the point marked last is there. Its path time is then uj_buffer_buffered_us. */
bool uj_buffer_has_last(const struct uj_buffer *buffer);

/* Whether a joint can stand at path_us, or pass it: from the oldest point to the newest. */
bool uj_buffer_reaches(const struct uj_buffer *buffer, int64_t path_us);

/* The segment that holds a path time: its two points, a's time <= path < b's, or the last two at the newest point's
 * time and beyond. False with no point. With a single point both are that one. */
bool uj_buffer_segment(const struct uj_buffer *buffer, uj_time path, struct uj_point *a, struct uj_point *b);

/* Position (counts) and velocity (counts/s of path time) on the path; 0 with no point. */
void uj_buffer_where(const struct uj_buffer *buffer, uj_time path, double *position, double *velocity);

/* Forgets the points behind the segment that holds path_us. A joint that is armed may stand up to 2 µs
 * further back than where it came to rest, so as much is kept. Points whose outputs are not switched stay. */
void uj_buffer_free(struct uj_buffer *buffer, int64_t path_us);

/* Path time of the next point that switches outputs, into *path_us; false: none is known. */
bool uj_buffer_next_switch(const struct uj_buffer *buffer, int64_t *path_us);

/* Passes the next point that switches outputs at or before path_us; false: there is none. Call it again until it
 * says so: points switch in their order. */
bool uj_buffer_switch(struct uj_buffer *buffer, int64_t path_us, uint8_t *mask, uint8_t *values);

#endif
