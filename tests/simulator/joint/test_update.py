"""Update: what is taken, refused and in which order, kept, tried, confirmed and given up."""

from collections.abc import Callable

import pytest

from protocol.constants import TRIAL_US
from protocol.drive import Drive, Mode, StopLevel
from protocol.image import ImageFrame
from protocol.messages import Blink, Configure, Install, Update, Updating
from protocol.rejects import REJECTS
from simulator.joint.images import ImageStore
from simulator.joint.joint import Joint
from simulator.joint.refusal import Refusal
from tests.simulator.joint.rig import (
    COORDINATOR,
    IDENTITY,
    PER_DEGREE,
    SESSION,
    Rig,
    arm,
    configuration,
    go,
)
from tests.simulator.joint.signing import (
    CAPACITY,
    STRANGER,
    announcing,
    data_of,
    frames_of,
    header_of,
    store,
)

NEW, OTHER = data_of(1), data_of(2)
UPDATE = announcing(header_of(NEW))
SHA = header_of(NEW).sha256.hex()
NOW = 1_000.0


def code(refusal: Refusal | None) -> str | None:
    return refusal.code if refusal else None


def booted(images: ImageStore | None) -> Joint:
    """A joint after a restart, with a session."""
    if images is not None:
        images.restart()
    joint = Joint(IDENTITY, images=images)
    joint.begin_session(COORDINATOR, SESSION, 0.0)
    return joint


def received(joint: Joint, update: Update = UPDATE) -> int:
    """Announce an image; how much of it is kept."""
    assert joint.request(update, NOW) is None
    [event] = joint.take_events()
    assert isinstance(event, Updating)
    assert event.image == update.header[136:]
    return event.received


def bring(joint: Joint, data: bytes = NEW, begin: int = 0) -> None:
    for frame in frames_of(data, begin):
        assert joint.image_frame(frame, NOW) is None


def on_trial() -> tuple[Joint, ImageStore]:
    """A joint that runs an image which nobody confirmed yet."""
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint)
    assert joint.request(Install(), NOW) is None
    return booted(images), images


def tried(images: ImageStore) -> bool:
    """Whether what runs is on trial."""
    return images.on_trial


def runs(images: ImageStore) -> bytes | None:
    """The image that runs, None for what the joint was made with."""
    return None if images.running is None else images.running.data


def drive(joint: Joint, now: float, sequence: int = 1) -> bool:
    """Whether a valid drive is answered."""
    return joint.drive(Drive(SESSION, sequence), now) is not None


# A joint that takes none


@pytest.mark.parametrize("message", [UPDATE, Install()])
def test_joint_without_a_key_takes_no_images(message: Update | Install) -> None:
    joint = booted(None)
    assert code(joint.request(message, NOW)) == "message-unknown"
    assert joint.images is None
    assert joint.next_deadline() is None


# Update


def test_an_image_begins_at_its_first_byte_and_goes_on_where_it_is_kept() -> None:
    joint = booted(store())
    assert received(joint) == 0
    for frame in frames_of(NEW)[:3]:
        assert joint.image_frame(frame, NOW) is None
    # 6144 came, and one page of 4096 is kept.
    assert received(joint) == 4_096
    bring(joint, begin=4_096)
    assert received(joint) == len(NEW)


@pytest.mark.parametrize("power_cut", [True, False])
def test_what_comes_next_begins_where_the_joint_says(power_cut: bool) -> None:
    """An ack does not say that what came is kept."""
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint, NEW[:6_144])
    if power_cut:
        joint = booted(images)
    assert received(joint) == 4_096
    assert code(joint.image_frame(ImageFrame(6_144, NEW[6_144:8_000]), NOW)) == "image-gap"
    bring(joint, begin=4_096)
    assert joint.request(Install(), NOW) is None


def test_another_image_takes_the_place_of_the_one_on_its_way() -> None:
    joint = booted(store())
    received(joint)
    bring(joint)
    assert received(joint, announcing(header_of(OTHER))) == 0
    assert code(joint.request(Install(), NOW)) == "image-missing"
    assert received(joint) == 0


def test_the_same_bytes_under_another_version_are_another_image() -> None:
    joint = booted(store())
    received(joint)
    bring(joint)
    assert received(joint, announcing(header_of(NEW, "1.5.1"))) == 0


def test_checks_of_an_update_come_in_the_order_of_the_page() -> None:
    """Each header has all faults from one on, so only the first of them may be told."""
    wrong = header_of(data_of(3, CAPACITY + 1), board="another")
    right_board = header_of(data_of(3, CAPACITY + 1))
    stranger = announcing(header_of(NEW), STRANGER)
    broken = UPDATE.model_copy(update={"header": "00" + UPDATE.header[2:]})

    images = store()
    rig = Rig()
    rig.joint = booted(images)
    assert rig.joint.request(Configure(configuration=configuration()), NOW) is None
    images.fails = True
    rig.jog(1_000.0, PER_DEGREE)
    now = rig.now(2_000.0)
    assert rig.joint.energised
    assert code(rig.joint.request(broken, now)) == "message-invalid"
    assert code(rig.joint.request(announcing(wrong, STRANGER), now)) == "not-at-rest"

    joint, images = on_trial()
    images.fails = True
    assert code(joint.request(announcing(wrong, STRANGER), NOW)) == "on-trial"
    images.on_trial = False
    assert code(joint.request(announcing(wrong, STRANGER), NOW)) == "image-board"
    assert code(joint.request(announcing(right_board, STRANGER), NOW)) == "image-size"
    foreign = joint.request(stranger, NOW)
    assert code(foreign) == "image-signature"
    assert foreign is not None
    assert foreign.message == REJECTS["image-signature"]
    assert code(joint.request(UPDATE, NOW)) == "image-store"
    assert joint.take_events() == []


def test_drivers_that_are_on_come_before_a_trial_and_behind_motion() -> None:
    joint, images = on_trial()
    assert joint.drive(Drive(SESSION, 1, energise=True), NOW) is not None
    images.on_trial = True  # as if that drive had not confirmed it
    assert code(joint.request(UPDATE, NOW)) == "energised"
    assert code(joint.image_frame(ImageFrame(0, b"a"), NOW)) == "energised"
    assert code(joint.request(Install(), NOW)) == "energised"


@pytest.mark.parametrize("size", [1, CAPACITY])
def test_images_up_to_the_capacity_are_taken(size: int) -> None:
    data = data_of(4, size)
    joint = booted(store())
    received(joint, announcing(header_of(data)))
    bring(joint, data)
    assert joint.request(Install(), NOW) is None
    assert joint.restarts


def test_what_is_rejected_leaves_what_was_kept() -> None:
    joint = booted(store())
    received(joint)
    bring(joint)
    for wrong in (
        announcing(header_of(OTHER), STRANGER),
        announcing(header_of(OTHER, board="another")),
        announcing(header_of(data_of(3, CAPACITY + 1))),
    ):
        assert joint.request(wrong, NOW) is not None
    assert received(joint) == len(NEW)


# Frames


def test_frame_without_an_announced_image_is_refused_also_after_a_restart() -> None:
    images = store()
    joint = booted(images)
    assert code(joint.image_frame(ImageFrame(0, b"a"), NOW)) == "image-gap"
    received(joint)
    bring(joint)
    assert code(booted(images).image_frame(ImageFrame(0, NEW[:9]), NOW)) == "image-gap"


def test_frames_may_overlap_and_come_again_but_leave_no_gap() -> None:
    joint = booted(store())
    received(joint)
    assert joint.image_frame(ImageFrame(0, NEW[:100]), NOW) is None
    assert code(joint.image_frame(ImageFrame(101, NEW[101:200]), NOW)) == "image-gap"
    assert joint.image_frame(ImageFrame(0, NEW[:100]), NOW) is None
    assert joint.image_frame(ImageFrame(50, NEW[50:300]), NOW) is None
    # What is known already is not looked at: of this one only what is new counts.
    assert joint.image_frame(ImageFrame(200, bytes(100) + NEW[300:400]), NOW) is None
    bring(joint, begin=400)
    assert joint.request(Install(), NOW) is None


def test_frame_beyond_the_image_is_refused_wholly() -> None:
    joint = booted(store())
    received(joint)
    bring(joint, NEW[:9_000])
    beyond = ImageFrame(9_000, NEW[9_000:] + b"a")
    assert code(joint.image_frame(beyond, NOW)) == "image-gap"
    assert code(joint.image_frame(ImageFrame(2**32 - 1, b"a"), NOW)) == "image-gap"
    assert code(joint.request(Install(), NOW)) == "image-missing"
    bring(joint, begin=9_000)
    assert code(joint.image_frame(ImageFrame(len(NEW), b"a"), NOW)) == "image-gap"
    assert joint.request(Install(), NOW) is None


def test_frame_that_cannot_be_stored_is_refused_and_changes_nothing() -> None:
    images = store()
    joint = booted(images)
    received(joint)
    images.fails = True
    assert code(joint.image_frame(ImageFrame(1, b"a"), NOW)) == "image-gap"
    assert code(joint.image_frame(ImageFrame(0, NEW[:9]), NOW)) == "image-store"
    images.fails = False
    assert code(joint.image_frame(ImageFrame(9, NEW[9:19]), NOW)) == "image-gap"
    bring(joint)
    assert joint.request(Install(), NOW) is None


def test_update_that_cannot_be_stored_leaves_nothing_announced() -> None:
    """It has begun to erase what was here: of the image before it nothing is kept for sure."""
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint)
    images.fails = True
    assert code(joint.request(announcing(header_of(OTHER)), NOW)) == "image-store"
    images.fails = False
    assert code(joint.request(Install(), NOW)) == "image-missing"
    assert code(joint.image_frame(ImageFrame(0, NEW[:9]), NOW)) == "image-gap"
    assert not joint.restarts
    assert received(joint) == 0
    bring(joint)
    assert joint.request(Install(), NOW) is None


def test_drivers_switched_on_between_do_no_harm() -> None:
    joint = booted(store())
    received(joint)
    bring(joint, NEW[:5_000])
    assert joint.drive(Drive(SESSION, 1, energise=True), NOW) is not None
    for refusal in (
        joint.request(UPDATE, NOW),
        joint.image_frame(ImageFrame(5_000, NEW[5_000:7_000]), NOW),
        joint.request(Install(), NOW),
    ):
        assert code(refusal) == "energised"
    assert joint.drive(Drive(SESSION, 2, stop=StopLevel.RELEASE), NOW) is not None
    assert not joint.energised
    joint.take_events()
    assert received(joint) == 4_096
    bring(joint, begin=4_096)
    assert joint.request(Install(), NOW) is None


@pytest.mark.parametrize(
    "ask",
    [
        lambda joint, now: joint.request(UPDATE, now),
        lambda joint, now: joint.image_frame(ImageFrame(0, b"a"), now),
        lambda joint, now: joint.request(Install(), now),
    ],
)
def test_nothing_moves_meanwhile(ask: Callable[[Joint, float], Refusal | None]) -> None:
    def with_images() -> Rig:
        rig = Rig()
        rig.joint = booted(store())
        assert rig.joint.request(Configure(configuration=configuration()), 0.0) is None
        return rig

    rig = with_images()
    at_us = rig.moving()
    assert code(ask(rig.joint, at_us + 100_000.0)) == "not-at-rest"
    rig = with_images()
    now = rig.prepared()
    rig.path(now, arm(1))
    rig.path(now, go(2, now + 500_000))
    assert code(ask(rig.joint, rig.now(now))) == "not-at-rest"


# Install


def test_install_needs_the_whole_image_that_was_announced() -> None:
    images = store()
    joint = booted(images)
    assert code(joint.request(Install(), NOW)) == "image-missing"
    received(joint)
    bring(joint, NEW[:-1])
    assert code(joint.request(Install(), NOW)) == "image-missing"
    bring(joint, begin=len(NEW) - 1)
    # After a restart it is kept, but must be announced again.
    joint = booted(images)
    assert code(joint.request(Install(), NOW)) == "image-missing"
    assert received(joint) == len(NEW)
    assert joint.request(Install(), NOW) is None


def test_image_that_is_not_what_was_signed_is_dropped() -> None:
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint, NEW[:-1] + b"?")
    images.fails = True
    assert code(joint.request(Install(), NOW)) == "image-wrong"
    images.fails = False
    assert code(joint.image_frame(ImageFrame(0, NEW[:9]), NOW)) == "image-gap"
    assert code(joint.request(Install(), NOW)) == "image-missing"
    assert not joint.restarts
    assert received(joint) == 0
    bring(joint)
    assert joint.request(Install(), NOW) is None


def test_install_that_cannot_be_stored_leaves_all_as_it_was() -> None:
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint)
    images.fails = True
    assert code(joint.request(Install(), NOW)) == "image-store"
    assert not joint.restarts
    images.fails = False
    booted(images)
    assert runs(images) is None
    joint = booted(images)
    assert received(joint) == len(NEW)
    assert joint.request(Install(), NOW) is None


def test_joint_that_wants_to_restart_takes_no_drive() -> None:
    joint = booted(store())
    received(joint)
    bring(joint)
    assert drive(joint, NOW)
    assert joint.request(Install(), NOW) is None
    assert joint.restarts
    assert joint.drive(Drive(SESSION, 2, energise=True), NOW) is None
    assert not joint.energised


# Trial


def test_new_image_runs_on_trial_until_the_first_drive_that_is_answered() -> None:
    joint, images = on_trial()
    assert images.running is not None
    assert images.running.header == header_of(NEW)
    assert runs(images) == NEW
    assert tried(images)
    for unanswered in (Drive(SESSION + 1, 1), Drive(SESSION, 0)):
        assert joint.drive(unanswered, NOW) is None
    assert joint.request(Blink(), NOW) is None
    assert tried(images)
    assert drive(joint, NOW)
    assert not tried(images)
    booted(images)
    assert runs(images) == NEW


def test_restart_during_the_trial_brings_back_the_image_before() -> None:
    _, images = on_trial()
    joint = booted(images)
    assert runs(images) is None
    assert not tried(images)
    # What was tried is not kept.
    assert received(joint) == 0
    assert drive(joint, NOW)
    booted(images)
    assert runs(images) is None


def test_trial_ends_120_s_after_the_boot_by_a_restart() -> None:
    joint, images = on_trial()
    assert joint.next_deadline() == TRIAL_US
    joint.poll(TRIAL_US - 1.0)
    assert joint.next_deadline() == TRIAL_US
    joint.poll(float(TRIAL_US))
    assert joint.restarts
    assert joint.next_deadline() is None
    assert not drive(joint, TRIAL_US + 1.0)
    booted(images)
    assert runs(images) is None


def test_drive_that_comes_with_the_end_of_the_trial_is_too_late() -> None:
    joint, images = on_trial()
    assert not drive(joint, float(TRIAL_US))
    assert tried(images)
    joint, images = on_trial()
    assert drive(joint, TRIAL_US - 1.0)
    assert joint.next_deadline() is None
    joint.poll(2.0 * TRIAL_US)
    assert not joint.restarts


def test_drive_is_not_taken_while_its_confirmation_cannot_be_stored() -> None:
    joint, images = on_trial()
    images.fails = True
    refused = Drive(SESSION, 1, energise=True, stop=StopLevel.NONE, mode=Mode.NONE)
    assert joint.drive(refused, NOW) is None
    assert not joint.energised
    assert tried(images)
    images.fails = False
    assert drive(joint, NOW, sequence=2)
    assert not tried(images)


def test_a_confirmed_image_is_what_a_later_trial_goes_back_to() -> None:
    joint, images = on_trial()
    assert drive(joint, NOW)
    other = announcing(header_of(OTHER, "1.6.0"))
    assert received(joint, other) == 0
    bring(joint, OTHER)
    assert joint.request(Install(), NOW) is None
    booted(images)
    assert runs(images) == OTHER
    booted(images)
    assert runs(images) == NEW
    assert not tried(images)


def test_the_image_that_runs_can_come_again_like_any_other() -> None:
    joint, images = on_trial()
    assert drive(joint, NOW)
    assert received(joint) == 0
    bring(joint)
    assert joint.request(Install(), NOW) is None
    booted(images)
    assert tried(images)


def test_power_cut_after_install_is_the_restart_that_it_asked_for() -> None:
    images = store()
    joint = booted(images)
    received(joint)
    bring(joint)
    assert joint.request(Install(), NOW) is None
    booted(images)
    assert tried(images)
