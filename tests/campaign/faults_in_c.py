"""Small faults that `make mutants-c` puts into the joint in C, one at a time.

Each is a text of one file of deploy/joint/core, which stands there exactly once, and another text;
those of what a board keeps of firmware are in deploy/joint/posix.
"""

from tests.campaign.mutants import Edit, Mutant

CORE = "deploy/joint/core"
POSIX = "deploy/joint/posix"


def _one(what: str, path: str, old: str, new: str, folder: str = CORE) -> Mutant:
    return Mutant(what, (Edit(f"{folder}/{path}", old, new),))


FAULTS = (
    # ---- path ---------------------------------------------------------------------------------
    _one(
        "permit: it is not obeyed",
        "path_next.c",
        "} else if (!(has_last && permit_us >= last_us)) {",
        "} else if (false) {",
    ),
    _one(
        "permit: the ramp begins 20 ms behind its end",
        "path_next.c",
        "consider(path, &next, UJ_PATH_PERMIT, arm);",
        "consider(path, &next, UJ_PATH_PERMIT, arm + 20000 * UJ_TIME_PER_US);",
    ),
    _one(
        "permit: the ramp begins where the joint is, not at its end",
        "path_next.c",
        "            from = permit_us * UJ_TIME_PER_US;\n",
        "            from += 30 * UJ_TIME_PER_US;\n",
    ),
    _one(
        "buffer: a permit may reach past the points",
        "path_next.c",
        "*permit_us = *permit_us < room ? *permit_us : room;",
        "(void)room;",
    ),
    _one(
        "withdrawal: a joint that moves goes on without a plan",
        "plans.c",
        '    } else {\n        uj_player_ramp(joint, "withdrawn");\n    }\n}',
        "    }\n}",
    ),
    _one(
        "lowered permit: one that is passed already is overlooked",
        "plans.c",
        "if (beyond_permit(joint)) {",
        "if (false && beyond_permit(joint)) {",
    ),
    _one(
        "arm: a go needs none before it",
        "plans.c",
        "if (!player->arm_counts || player->arm_number >= drive->plan_number || change->before_ppm",
        "if (change->before_ppm",
    ),
    _one(
        "late: a go that comes after its instant is taken",
        "plans.c",
        "if (uj_body_arm_us(joint) >= (double)change->at_us) {",
        "if (false) {",
    ),
    _one(
        "start: it needs no permit",
        "player.c",
        "    if (!may_start(joint)) {\n        uj_player_drop_start(joint);",
        "    if (false) {\n        uj_player_drop_start(joint);",
    ),
    _one(
        "plan numbers: a lower one than was seen is obeyed",
        "plans.c",
        "if (lower || !joint->homed",
        "if (!joint->homed",
    ),
    _one(
        "override: one that does not continue the course is taken",
        "path.c",
        "if (apart > tolerance || apart < -tolerance) {",
        "if (false) {",
    ),
    _one(
        "silence: a joint waits for a coordinator that is gone",
        "joint.c",
        "return joint->session.driven_us + UJ_SILENCE_US;",
        "return joint->session.driven_us + 100 * UJ_SILENCE_US;",
    ),
    _one(
        "clock: a new map counts at once in motion",
        "joint.c",
        "const bool rests = uj_body_rests(joint);\n    const enum uj_map_taken",
        "const bool rests = true;\n    const enum uj_map_taken",
    ),
    _one(
        "clock: a map that contradicts the one before ends nothing",
        "joint.c",
        "if (taken != UJ_MAP_WRONG) {",
        "if (taken != UJ_MAP_WRONG || taken == UJ_MAP_WRONG) {",
    ),
    # ---- off the path -------------------------------------------------------------------------
    _one(
        "expiry: jog and homing go on without renewal",
        "mover.c",
        "return uj_clock_joint_us(&joint->clock, (double)joint->mover.expiry_us);",
        "return INFINITY;",
    ),
    _one(
        "jog: past the end of the range",
        "mover.c",
        "const bool ranged = joint->homed && configuration->has_range;",
        "const bool ranged = false;",
    ),
    _one(
        "jog: unhomed as fast as homed",
        "mover.c",
        "(double)(joint->homed ? configuration->velocity : configuration->jog_unhomed);",
        "(double)configuration->velocity;",
    ),
    _one(
        "homing: it ends a twentieth of a microstep beside the middle",
        "homing.c",
        "const int64_t shift = ",
        "const int64_t shift = 12 + ",
    ),
    _one(
        "homing: the steps are not told of its shift",
        "machine.c",
        "uj_steps_shift(&machine->steps, truth->value);",
        ";",
    ),
    _one(
        "lost steps: a joint does not mind where its home sensor switches",
        "edges.c",
        "if (fabs(off) > tolerance) {",
        "if (fabs(off) > 1000 * tolerance) {",
    ),
    _one(
        "release: a joint that let go of its motor is still homed",
        "body.c",
        "    joint->homed = false;\n    joint->edges.kept.place.known = false;",
        "    joint->edges.kept.place.known = false;",
    ),
    # ---- stops and faults ---------------------------------------------------------------------
    _one(
        "stop: it is not latched",
        "safety.c",
        "    if (safety->stop_untold && uj_state_rests(joint->state)) {\n"
        "        tell_stopped(joint);\n    }\n",
        "    if (safety->stop_untold && uj_state_rests(joint->state)) {\n"
        "        tell_stopped(joint);\n    }\n    safety->latched = UJ_STOP_NONE;\n",
    ),
    _one(
        "stop: drivers are switched on beside one that lets go",
        "safety.c",
        " || joint->safety.latched >= UJ_STOP_STOP_AND_RELEASE) {\n        return;",
        ") {\n        return;",
    ),
    _one(
        "fault: a joint that moves does not mind it",
        "safety.c",
        '        uj_mover_brake(joint, "a fault was found");\n        uj_player_discard(joint);\n',
        "",
    ),
    _one(
        "fault: of the driver, and the position counts for sure",
        "safety.c",
        "if ((fault & (UJ_FAULT_DRIVER | UJ_FAULT_HALL_SENSOR",
        "if ((fault & (UJ_FAULT_HALL_SENSOR",
    ),
    _one(
        "temperature: its limit is twice as high",
        "safety.c",
        "safety->temperature_centi_c > configuration->temperature_limit_centi_c",
        "safety->temperature_centi_c > 2 * configuration->temperature_limit_centi_c",
    ),
    _one(
        "supply: its limit is not minded",
        "safety.c",
        "safety->supply_mv < configuration->supply_limit_mv",
        "safety->supply_mv < configuration->supply_limit_mv / 2",
    ),
    _one(
        "current: a joint is armed with a reduced one",
        "plans.c",
        "if (uj_current_is_reduced(joint)) {",
        "if (false) {",
    ),
    _one(
        "outputs: what is to go off with a stop is kept",
        "safety.c",
        "    uj_outputs_on_stop(joint);\n",
        "",
    ),
    _one(
        "outputs: what is to go off with a hold is kept",
        "player.c",
        "    uj_outputs_on_hold(joint);\n",
        "",
    ),
    # ---- what is taken in ---------------------------------------------------------------------
    _one(
        "tag: that of a datagram is not checked",
        "drive.c",
        "if (!uj_same(tag, datagram + message.length, UJ_TAG_BYTES)) {",
        "if (false) {",
    ),
    _one(
        "tag: that of a frame is not checked",
        "frames.c",
        "if (!uj_same(tag, bytes + NUMBER_BYTES, UJ_TAG_BYTES)) {",
        "if (false) {",
    ),
    _one(
        "frames: the same one is taken twice",
        "frames.c",
        "frame->number <= last_number ||",
        "frame->number < last_number ||",
    ),
    _one(
        "proof: it is not checked",
        "handshake.c",
        "if (!uj_same(wanted, proof, UJ_PROOF_BYTES)) {",
        "if (false) {",
    ),
    _one(
        "sequence: an old drive is taken",
        "session.c",
        " && drive->sequence > now->sequence;",
        ";",
    ),
    _one(
        "session: a drive of another one is taken",
        "session.c",
        "now->begun && drive->session == now->session && ",
        "now->begun && ",
    ),
    _one(
        "session: another one begins while the joint moves",
        "session.c",
        "if (!uj_body_rests(joint)) {",
        "if (false) {",
    ),
    _one(
        "session: another coordinator need not wait",
        "session.c",
        "joint->now_us - now->heard_us < UJ_RELEASE_SESSION_US) {",
        "joint->now_us - now->heard_us < 0) {",
    ),
    _one(
        "points: the CRC is not checked",
        "points.c",
        "if (uj_crc32(body, length - CRC_BYTES) != uj_get_u32(body + length - CRC_BYTES)) {",
        "if (false) {",
    ),
    _one(
        "points: the limits of a segment are not checked",
        "buffer.c",
        "if (trouble->limit != UJ_SEGMENT_SOUND) {",
        "if (false) {",
    ),
    _one(
        "points: the range is not checked",
        "buffer.c",
        "    if (limits->has_range) {",
        "    if (false) {",
    ),
    _one(
        "points: outputs may switch in motion",
        "buffer.c",
        "if ((point->flags & UJ_POINT_OUTPUTS) != 0 && point->velocity != 0) {",
        "if (false) {",
    ),
    _one(
        "points: more are taken than the build has room for",
        "requests.c",
        "limits = {.capacity = joint->settings.capabilities.point_capacity,",
        "limits = {.capacity = UJ_POINT_CAPACITY,",
    ),
    _one(
        "prepare: from another position than that of the first point",
        "requests.c",
        "if (uj_body_position(joint) != first.position) {",
        "if (false) {",
    ),
    _one(
        "configuration: its digest is not kept",
        "requests.c",
        "memcpy(joint->digest, request->digest, sizeof joint->digest);",
        "memcpy(joint->digest, request->digest, sizeof joint->digest - 1);",
    ),
    # ---- firmware -----------------------------------------------------------------------------
    _one(
        "firmware: what is for another board is taken",
        "update.c",
        "if (strcmp(header->board, can->board) != 0) {",
        "if (false) {",
    ),
    _one(
        "firmware: more is taken than there is room for",
        "update.c",
        "if (header->size > can->image_capacity) {",
        "if (false) {",
    ),
    _one(
        "firmware: the signature is not checked",
        "update.c",
        "return uj_signature_ok(update->start.key, request->header, UJ_IMAGE_HEADER_BYTES, "
        "request->signature)",
        "return true",
    ),
    _one(
        "firmware: its hash is not checked",
        "update.c",
        "if (memcmp(digest, update->header.sha256, sizeof digest) != 0) {",
        "if (false) {",
    ),
    _one(
        "firmware: what was hashed of one image counts for the next",
        "update.c",
        "if (!same || update->hashed > kept) {",
        "if (update->hashed > kept) {",
    ),
    _one(
        "firmware: an image counts on that was erased for one that could not be begun",
        "update.c",
        "forget(update); /* it may have erased what was here, or a part of it */",
        ";",
    ),
    _one(
        "firmware: a part of it may be left out",
        "update.c",
        "frame.offset > update->here || ",
        "",
    ),
    _one(
        "firmware: a part that is known already is written again behind the others",
        "update.c",
        "frame.data + known, frame.count - known)) {",
        "frame.data, frame.count - known)) {",
    ),
    _one(
        "firmware: less than all of it is installed",
        "update.c",
        "if (!update->announced || update->here < update->header.size) {",
        "if (!update->announced) {",
    ),
    _one(
        "firmware: it comes while the drivers are on",
        "update.c",
        "return joint->energised ? UJ_REJECT_ENERGISED : UJ_ACCEPTED;",
        "return UJ_ACCEPTED;",
    ),
    _one(
        "firmware: another comes while one is on trial",
        "update.c",
        "    if (update->on_trial) {\n        return UJ_REJECT_ON_TRIAL;",
        "    if (false) {\n        return UJ_REJECT_ON_TRIAL;",
    ),
    _one(
        "firmware: the trial ends by nothing but a drive",
        "update.c",
        "        update->restarts = true;\n        update->due_us = INFINITY;",
        "        update->due_us = INFINITY;",
    ),
    _one(
        "firmware: a drive does not confirm it",
        "endpoint.c",
        "if (update != NULL && update->on_trial && !update->confirm(update)) {",
        "if (false) {",
    ),
    _one(
        "firmware: a drive is answered though its confirmation was not stored",
        "endpoint.c",
        "update->on_trial && !update->confirm(update)) {",
        "update->on_trial && !update->confirm(update) && false) {",
    ),
    _one(
        "firmware: frames are taken after the install",
        "endpoint.c",
        "if (connection == NULL || restarts(endpoint)) {",
        "if (connection == NULL) {",
    ),
    _one(
        "firmware: the CRC of a part is not checked",
        "image.c",
        "return uj_crc32(body, length - CRC_BYTES) == uj_get_u32(body + length - CRC_BYTES) ?",
        "return true ?",
    ),
    _one(
        "firmware: the label of its header is not checked",
        "image.c",
        "return memcmp(bytes, LABEL, LABEL_BYTES) == 0 && ",
        "return ",
    ),
    _one(
        "firmware: something may follow the name of its board",
        "image.c",
        "if (bytes[i] != 0) {",
        "if (false) {",
    ),
    _one(
        "firmware: what was tried is tried again",
        "update_store.c",
        "        kept.trial = NO_TRIAL;\n        kept.has_header",
        "        kept.has_header",
        POSIX,
    ),
    _one(
        "firmware: what was confirmed does not stay",
        "update_store.c",
        "    kept.runs = (uint8_t)(other(&kept) + 1);\n",
        "",
        POSIX,
    ),
    _one(
        "firmware: its confirmation is stored in memory alone",
        "update_store.c",
        "    kept.has_header[other(&kept)] = 0;\n    return put(store, &kept);",
        "    kept.has_header[other(&kept)] = 0;\n    store->kept = kept;\n    return true;",
        POSIX,
    ),
)
