#include "update.h"

#include <math.h>
#include <string.h>

#include "body.h"
#include "messages.h"

/* What came is hashed as it stands, piece by piece, so that no call takes long. */
#define HASH_BYTES 4096
#define HASH_EVERY_US 10000
#define READ_BYTES 256 /* at once, on the stack */

/* ---- the requests ---- */

static const struct uj_field UPDATE[] = {
    {"type", uj_field_known, 0, false, 0, 0},
    {"header", uj_field_hex, offsetof(struct uj_update_request, header), false, UJ_IMAGE_HEADER_BYTES, 0},
    {"signature", uj_field_hex, offsetof(struct uj_update_request, signature), false, UJ_SIGNATURE_BYTES, 0},
};

static const struct uj_form REQUESTS[] = {
    [UJ_UPDATE_UPDATE] = {"update", UPDATE, sizeof UPDATE / sizeof UPDATE[0]},
    [UJ_UPDATE_INSTALL] = {"install", UPDATE, 1},
};

enum uj_reject uj_update_read(const uint8_t *body, size_t length, struct uj_update_request *request)
{
    struct uj_json object;
    size_t form;
    const enum uj_reject found =
        uj_form_find(body, length, REQUESTS, sizeof REQUESTS / sizeof REQUESTS[0], &object, &form);
    if (found != UJ_ACCEPTED) {
        return found;
    }
    request->type = (enum uj_update_type)form;
    return uj_fields_read(object, REQUESTS[form].fields, REQUESTS[form].count, request) ? UJ_ACCEPTED
                                                                                        : UJ_REJECT_MESSAGE_INVALID;
}

/* ---- hashing ---- */

static uint32_t least(uint32_t one, uint32_t other)
{
    return one < other ? one : other;
}

/* Hashes at most so many of the bytes that are here; false where they cannot be read. */
static bool hash(struct uj_update *update, uint32_t most)
{
    const struct uj_update_hooks *hooks = &update->start.hooks;
    uint8_t bytes[READ_BYTES];
    while (update->hashed < update->here && most > 0) {
        const uint32_t some = least(least(update->here - update->hashed, READ_BYTES), most);
        if (!hooks->read(hooks->owner, update->hashed, bytes, some)) {
            return false;
        }
        uj_sha256_add(&update->hash, bytes, some);
        update->hashed += some;
        most -= some;
    }
    return true;
}

static void hash_anew(struct uj_update *update)
{
    update->hashed = 0;
    uj_sha256_begin(&update->hash);
}

/* What was told of an image holds no longer than its bytes: none is announced, and nothing is here or hashed. */
static void forget(struct uj_update *update)
{
    update->announced = false;
    update->here = 0;
    hash_anew(update);
}

/* ---- the rules ---- */

static enum uj_reject at_rest_and_off(const struct uj_joint *joint)
{
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_NOT_AT_REST;
    }
    return joint->energised ? UJ_REJECT_ENERGISED : UJ_ACCEPTED;
}

static enum uj_reject judge(const struct uj_update *update, const struct uj_joint *joint,
                            const struct uj_update_request *request, const struct uj_image_header *header)
{
    const struct uj_capabilities *can = &joint->settings.capabilities;
    const enum uj_reject unready = at_rest_and_off(joint);
    if (unready != UJ_ACCEPTED) {
        return unready;
    }
    if (update->on_trial) {
        return UJ_REJECT_ON_TRIAL;
    }
    if (strcmp(header->board, can->board) != 0) {
        return UJ_REJECT_IMAGE_BOARD;
    }
    if (header->size > can->image_capacity) {
        return UJ_REJECT_IMAGE_SIZE;
    }
    return uj_signature_ok(update->start.key, request->header, UJ_IMAGE_HEADER_BYTES, request->signature)
               ? UJ_ACCEPTED
               : UJ_REJECT_IMAGE_SIGNATURE;
}

static void tell_received(const struct uj_update *update, struct uj_joint *joint)
{
    struct uj_event event = {.type = UJ_EVENT_UPDATE, .of.update.received = update->here};
    memcpy(event.of.update.image, update->header.sha256, UJ_SHA256_BYTES);
    uj_body_tell(joint, &event);
}

static enum uj_reject announce(struct uj_update *update, struct uj_joint *joint,
                               const struct uj_update_request *request)
{
    const struct uj_update_hooks *hooks = &update->start.hooks;
    struct uj_image_header header;
    if (uj_image_header_read(request->header, &header) != UJ_ACCEPTED) {
        return UJ_REJECT_MESSAGE_INVALID;
    }
    const enum uj_reject reject = judge(update, joint, request, &header);
    if (reject != UJ_ACCEPTED) {
        return reject;
    }
    const bool same =
        update->announced && memcmp(update->header_bytes, request->header, UJ_IMAGE_HEADER_BYTES) == 0;
    uint32_t kept = 0;
    if (!hooks->begin(hooks->owner, request->header, &kept)) {
        forget(update); /* it may have erased what was here, or a part of it */
        return UJ_REJECT_IMAGE_STORE;
    }
    update->announced = true;
    update->header = header;
    memcpy(update->header_bytes, request->header, UJ_IMAGE_HEADER_BYTES);
    update->here = kept;
    if (!same || update->hashed > kept) {
        hash_anew(update);
    }
    update->due_us = joint->now_us;
    tell_received(update, joint);
    return UJ_ACCEPTED;
}

static enum uj_reject take_frame(struct uj_update *update, const struct uj_joint *joint, const uint8_t *body,
                                 size_t length)
{
    const struct uj_update_hooks *hooks = &update->start.hooks;
    struct uj_image_frame frame;
    enum uj_reject reject = uj_image_frame_open(body, length, &frame);
    if (reject == UJ_ACCEPTED) {
        reject = at_rest_and_off(joint);
    }
    if (reject != UJ_ACCEPTED) {
        return reject;
    }
    if (!update->announced || frame.offset > update->here || frame.count > update->header.size - frame.offset) {
        return UJ_REJECT_IMAGE_GAP;
    }
    const uint32_t known = update->here - frame.offset;
    if (known >= frame.count) {
        return UJ_ACCEPTED;
    }
    if (!hooks->write(hooks->owner, update->here, frame.data + known, frame.count - known)) {
        return UJ_REJECT_IMAGE_STORE;
    }
    update->here += frame.count - known;
    update->due_us = fmin(update->due_us, joint->now_us);
    return UJ_ACCEPTED;
}

static enum uj_reject install(struct uj_update *update, const struct uj_joint *joint)
{
    const struct uj_update_hooks *hooks = &update->start.hooks;
    uint8_t digest[UJ_SHA256_BYTES];
    const enum uj_reject unready = at_rest_and_off(joint);
    if (unready != UJ_ACCEPTED) {
        return unready;
    }
    if (!update->announced || update->here < update->header.size) {
        return UJ_REJECT_IMAGE_MISSING;
    }
    if (!hash(update, update->here)) {
        return UJ_REJECT_IMAGE_STORE;
    }
    uj_sha256_end(&update->hash, digest);
    hash_anew(update); /* it may be asked again */
    if (memcmp(digest, update->header.sha256, sizeof digest) != 0) {
        hooks->drop(hooks->owner);
        forget(update);
        return UJ_REJECT_IMAGE_WRONG;
    }
    update->restarts = hooks->install(hooks->owner);
    return update->restarts ? UJ_ACCEPTED : UJ_REJECT_IMAGE_STORE;
}

static enum uj_reject take(struct uj_update *update, struct uj_joint *joint, const uint8_t *body, size_t length)
{
    struct uj_update_request request;
    if (body[0] == UJ_IMAGE_KIND) {
        return take_frame(update, joint, body, length);
    }
    const enum uj_reject reject = uj_update_read(body, length, &request);
    if (reject != UJ_ACCEPTED) {
        return reject;
    }
    return request.type == UJ_UPDATE_UPDATE ? announce(update, joint, &request) : install(update, joint);
}

static bool confirm(struct uj_update *update)
{
    const struct uj_update_hooks *hooks = &update->start.hooks;
    if (!hooks->confirm(hooks->owner)) {
        return false;
    }
    update->on_trial = false;
    update->due_us = INFINITY;
    return true;
}

static void poll(struct uj_update *update, double now_us)
{
    if (now_us < update->due_us) {
        return;
    }
    if (update->on_trial) {
        update->restarts = true;
        update->due_us = INFINITY;
        return;
    }
    const bool sound = hash(update, HASH_BYTES);
    update->due_us = sound && update->hashed < update->here ? now_us + HASH_EVERY_US : INFINITY;
}

void uj_update_init(struct uj_update *update, const struct uj_update_start *start, double boot_us)
{
    *update = (struct uj_update){.start = *start, .on_trial = start->on_trial, .take = take, .confirm = confirm,
                                 .poll = poll};
    update->image = start->has_image ? update->start.image : NULL;
    update->due_us = start->on_trial ? boot_us + UJ_TRIAL_US : INFINITY;
}
