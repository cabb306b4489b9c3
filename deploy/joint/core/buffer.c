#include "buffer.h"

#include <string.h>

/* The point at a place from the oldest; place < count. */
static const struct uj_point *at(const struct uj_buffer *buffer, uint32_t place)
{
    return &buffer->ring[(buffer->head + place) % UJ_POINT_CAPACITY];
}

static const struct uj_point *newest(const struct uj_buffer *buffer)
{
    return at(buffer, buffer->count - 1);
}

void uj_buffer_clear(struct uj_buffer *buffer)
{
    memset(buffer, 0, sizeof *buffer);
}

/* From next_switch on the next point that switches. Each point is looked at once. */
static void find_switch(struct uj_buffer *buffer)
{
    while (buffer->next_switch != uj_buffer_next_index(buffer) &&
           (at(buffer, buffer->next_switch - buffer->first_index)->flags & UJ_POINT_OUTPUTS) == 0) {
        buffer->next_switch++;
    }
}

/* What is wrong with a point that follows `before`; NULL: it is the trajectory's first. */
static enum uj_reject judge(const struct uj_point *before, const struct uj_point *point,
                            const struct uj_point_limits *limits, struct uj_buffer_trouble *trouble)
{
    if (before == NULL) {
        if (point->time_us != 0 || point->velocity != 0) {
            return UJ_REJECT_FIRST_POINT;
        }
    } else if ((before->flags & UJ_POINT_LAST) != 0) {
        return UJ_REJECT_AFTER_LAST;
    } else if (point->time_us <= before->time_us) {
        return UJ_REJECT_POINT_ORDER;
    }
    if ((point->flags & UJ_POINT_LAST) != 0 && point->velocity != 0) {
        return UJ_REJECT_LAST_MOVING;
    }
    if ((point->flags & UJ_POINT_OUTPUTS) != 0 && point->velocity != 0) {
        return UJ_REJECT_OUTPUT_IN_MOTION;
    }
    if (limits->has_range) {
        double low = (double)point->position;
        double high = low;
        /* 1 count beyond is rounding. */
        if (before != NULL) {
            uj_segment_reach(before, point, &low, &high);
        }
        if (low < (double)limits->range_low - 1 || high > (double)limits->range_high + 1) {
            return UJ_REJECT_RANGE;
        }
    }
    if (before != NULL) {
        trouble->limit = uj_segment_check(before, point, limits->velocity, limits->acceleration);
        if (trouble->limit != UJ_SEGMENT_SOUND) {
            return UJ_REJECT_SEGMENT;
        }
    }
    return UJ_ACCEPTED;
}

enum uj_reject uj_buffer_take(struct uj_buffer *buffer, const struct uj_points *frame,
                              const struct uj_point_limits *limits, struct uj_buffer_trouble *trouble)
{
    const uint32_t next = uj_buffer_next_index(buffer);
    trouble->index = frame->first_index;
    trouble->limit = UJ_SEGMENT_SOUND;
    if (frame->trajectory == 0) {
        return UJ_REJECT_MESSAGE_INVALID;
    }
    if (buffer->trajectory != 0 && buffer->trajectory != frame->trajectory) {
        return UJ_REJECT_TRAJECTORY_LOADED;
    }
    if (frame->first_index < next && frame->count <= next - frame->first_index) {
        return UJ_ACCEPTED;
    }
    if (frame->first_index != next || frame->count > UINT32_MAX - next) {
        return UJ_REJECT_POINTS_GAP;
    }
    if (buffer->count > limits->capacity || frame->count > limits->capacity - buffer->count) {
        return UJ_REJECT_BUFFER_FULL;
    }
    struct uj_point before;
    struct uj_point point;
    bool has_before = buffer->count > 0;
    if (has_before) {
        before = *newest(buffer);
    }
    for (uint16_t place = 0; place < frame->count; place++) {
        point = uj_points_at(frame, place);
        const enum uj_reject reject = judge(has_before ? &before : NULL, &point, limits, trouble);
        if (reject != UJ_ACCEPTED) {
            trouble->index = next + place;
            return reject;
        }
        before = point;
        has_before = true;
    }
    for (uint16_t place = 0; place < frame->count; place++) {
        buffer->ring[(buffer->head + buffer->count) % UJ_POINT_CAPACITY] = uj_points_at(frame, place);
        buffer->count++;
    }
    buffer->trajectory = frame->trajectory;
    find_switch(buffer);
    return UJ_ACCEPTED;
}

uint32_t uj_buffer_next_index(const struct uj_buffer *buffer)
{
    return buffer->first_index + buffer->count;
}

int64_t uj_buffer_buffered_us(const struct uj_buffer *buffer)
{
    return buffer->count > 0 ? newest(buffer)->time_us : 0;
}

bool uj_buffer_has_last(const struct uj_buffer *buffer)
{
    return buffer->count > 0 && (newest(buffer)->flags & UJ_POINT_LAST) != 0;
}

bool uj_buffer_reaches(const struct uj_buffer *buffer, int64_t path_us)
{
    return buffer->count > 0 && at(buffer, 0)->time_us <= path_us && path_us <= newest(buffer)->time_us;
}

/* Place of the last point whose time is not after `path`; 0 where all are. */
static uint32_t place_of(const struct uj_buffer *buffer, uj_time path)
{
    uint32_t low = 0;
    uint32_t high = buffer->count; /* the first point after `path` is in low + 1 … high */
    while (high - low > 1) {
        const uint32_t middle = low + (high - low) / 2;
        if (at(buffer, middle)->time_us * UJ_TIME_PER_US <= path) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return low;
}

bool uj_buffer_segment(const struct uj_buffer *buffer, uj_time path, struct uj_point *a, struct uj_point *b)
{
    if (buffer->count == 0) {
        return false;
    }
    uint32_t place = place_of(buffer, path);
    if (place + 1 == buffer->count && place > 0) {
        place--;
    }
    *a = *at(buffer, place);
    *b = *at(buffer, place + 1 < buffer->count ? place + 1 : place);
    return true;
}

void uj_buffer_where(const struct uj_buffer *buffer, uj_time path, double *position, double *velocity)
{
    struct uj_point a;
    struct uj_point b;
    *position = 0;
    *velocity = 0;
    if (!uj_buffer_segment(buffer, path, &a, &b)) {
        return;
    }
    /* Beyond the newest point, or before the oldest, there is nothing: it stands at that point. */
    if (path >= b.time_us * UJ_TIME_PER_US || path < a.time_us * UJ_TIME_PER_US) {
        const struct uj_point *end = path < a.time_us * UJ_TIME_PER_US ? &a : &b;
        *position = (double)end->position;
        *velocity = end->velocity;
        return;
    }
    const double path_us = uj_time_to_us(path);
    *position = uj_segment_position(&a, &b, path_us);
    *velocity = uj_segment_velocity(&a, &b, path_us);
}

void uj_buffer_free(struct uj_buffer *buffer, int64_t path_us)
{
    if (buffer->count == 0) {
        return;
    }
    uint32_t free = place_of(buffer, (path_us - UJ_PATH_TOLERANCE_US - 1) * UJ_TIME_PER_US);
    const uint32_t newer = buffer->count - 1;
    free = free < newer ? free : newer - (newer > 0 ? 1U : 0U); /* two points stay, so that there is a segment */
    while (free > 0 && buffer->first_index != buffer->next_switch) {
        buffer->head = (buffer->head + 1) % UJ_POINT_CAPACITY;
        buffer->first_index++;
        buffer->count--;
        free--;
    }
}

bool uj_buffer_next_switch(const struct uj_buffer *buffer, int64_t *path_us)
{
    if (buffer->next_switch == uj_buffer_next_index(buffer)) {
        return false;
    }
    *path_us = at(buffer, buffer->next_switch - buffer->first_index)->time_us;
    return true;
}

bool uj_buffer_switch(struct uj_buffer *buffer, int64_t path_us, uint8_t *mask, uint8_t *values)
{
    int64_t next_us;
    if (!uj_buffer_next_switch(buffer, &next_us) || next_us > path_us) {
        return false;
    }
    const struct uj_point *point = at(buffer, buffer->next_switch - buffer->first_index);
    *mask = point->output_mask;
    *values = point->output_values;
    buffer->next_switch++;
    find_switch(buffer);
    return true;
}
