"""The joint in C does what the joint in Python does, whatever happens to both."""

import random
from pathlib import Path

import pytest

from protocol.drive import Mode
from protocol.image import ImageFrame, encode_image_frame
from protocol.messages import Install, encode
from protocol.states import JointState
from simulator.joint.images import ImageStore
from tests.joint_c.pair import Differs, Pair, Parted, proven
from tests.joint_c.treatment import PER_DEGREE, Treatment
from tests.joint_c.update_treatment import BOARD, CAPACITY, IMAGES, UpdateTreatment
from tests.joint_c.updating import UPDATE_KEY, Signed

STEPS = 12
SEEDS = 300
GROUPS = 10
BOUNCE_SEEDS = 120
BOUNCE_GROUPS = 4
BOUNCE_KINDS = {
    "run": 8,
    "jog": 6,
    "target": 6,
    "home_wholly": 6,
    "home": 2,
    "hall": 1,
    "slip": 1,
    "stop": 1,
    "clear": 2,
}
UPDATE_SEEDS = 100
UPDATE_GROUPS = 4


def differs(program: Path, seed: int, *, alone: bool = False) -> str | None:
    """What differs after the sequence of a seed, and how it came to that; None for nothing.

    `alone`: of updates, and of nothing else that would need a joint that moves.
    """
    return compared(UpdateTreatment(program, seed, alone=alone), seed)


def differs_on_a_bouncing_sensor(program: Path, seed: int) -> str | None:
    """The same, with little but motion over a home sensor that bounces."""
    treatment = Treatment(program, seed)
    treatment.kinds = BOUNCE_KINDS
    treatment.bounce = random.Random(f"bounce {seed}")
    return compared(treatment, seed)


def compared(treatment: Treatment, seed: int) -> str | None:
    """What differs after it was played."""
    try:
        treatment.play(STEPS)
    except Parted:
        treatment.pair.end()
    except Differs as difference:
        lines = "\n".join(line[:150] for line in treatment.pair.log[-12:])
        return f"seed {seed}: {difference}\nstate {treatment.pair.joint.state.word}, after\n{lines}"
    return None


@pytest.mark.parametrize("group", range(GROUPS))
def test_both_joints_do_the_same_whatever_happens(joint_build: Path, group: int) -> None:
    share = SEEDS // GROUPS
    found = [
        differs(joint_build / "sequence", seed)
        for seed in range(group * share, (group + 1) * share)
    ]
    assert not [one for one in found if one is not None][:1]


@pytest.mark.parametrize("group", range(BOUNCE_GROUPS))
def test_both_joints_do_the_same_on_a_home_sensor_that_bounces(
    joint_build: Path, group: int
) -> None:
    share = BOUNCE_SEEDS // BOUNCE_GROUPS
    found = [
        differs_on_a_bouncing_sensor(joint_build / "sequence", seed)
        for seed in range(group * share, (group + 1) * share)
    ]
    assert not [one for one in found if one is not None][:1]


@pytest.mark.parametrize("group", range(UPDATE_GROUPS))
def test_both_joints_take_the_same_firmware_whatever_happens(joint_build: Path, group: int) -> None:
    share = UPDATE_SEEDS // UPDATE_GROUPS
    found = [
        differs(joint_build / "sequence", seed, alone=True)
        for seed in range(group * share, (group + 1) * share)
    ]
    assert not [one for one in found if one is not None][:1]


# ---- what a random sequence may miss -------------------------------------------------------------


def code(pair: Pair, body: bytes) -> str | None:
    """With which both joints refuse a frame; None where they carry it out."""
    answer = pair.request(1, body)[0]
    return None if answer["type"] == "ack" else str(answer["code"])


def bring(pair: Pair, image: Signed) -> None:
    """All of an image, two pages and more of it, and time to look at what came."""
    for at in range(0, len(image.data), 2_048):
        frame = encode_image_frame(ImageFrame(at, image.data[at : at + 2_048]))
        assert code(pair, frame) is None
    for _ in range(4):
        pair.later(10_000)
        pair.poll()


@pytest.mark.parametrize("endless", [True, False])
def test_search_cut_short_behind_the_place_is_taken_up_where_it_has_no_end_by_both(
    joint_build: Path, endless: bool
) -> None:
    """8° were lost, so that the sensor is behind where it was met."""
    treatment = Treatment(joint_build / "sequence", 1)
    pair, ahead = treatment.pair, treatment.direction
    treatment.connect()
    homing = {
        "direction": ahead, "travel": 400 * PER_DEGREE, "backoff": PER_DEGREE,
        "fast": 20 * PER_DEGREE, "slow": 2 * PER_DEGREE, "home": 0,
    }  # fmt: skip
    end = None if endless else 170 * PER_DEGREE
    treatment.configure_well(homing=homing, range_low=end and -end, range_high=end)
    treatment.recover()
    treatment.world.slip += 8 * PER_DEGREE * ahead
    treatment.look()
    treatment.request({"type": "clear"})

    def search(times: int) -> float:
        treatment.homing += 1
        for _ in range(times):
            treatment.drive(
                mode=Mode.HOME,
                homing_number=treatment.homing,
                expiry_us=treatment.arm_us() + 250_000,
                energise=True,
            )
            assert pair.joint.state is JointState.HOMING
            treatment.wait(100_000)
        treatment.drive(energise=True)
        treatment.wait(1_000_000)
        return pair.joint.position(pair.now)[0] * ahead

    left_at = search(20)
    assert (search(1) > left_at) is endless
    pair.end()


def test_update_that_could_not_be_begun_leaves_nothing_announced_in_either(
    joint_build: Path,
) -> None:
    """What was hashed of the image before it is no proof any more: that may be erased."""
    before, after = IMAGES[2], IMAGES[1]
    pair = proven(joint_build / "sequence", ImageStore(UPDATE_KEY, BOARD, CAPACITY))
    assert code(pair, before.update) is None
    bring(pair, before)
    pair.store(fails=True)
    assert code(pair, after.update) == "image-store"
    pair.store(fails=False)
    assert code(pair, encode(Install())) == "image-missing"
    assert code(pair, encode_image_frame(ImageFrame(0, before.data[:9]))) == "image-gap"
    acknowledged, event = pair.request(1, before.update)
    assert (acknowledged["type"], event["received"]) == ("ack", 0)
    bring(pair, before)
    assert code(pair, encode(Install())) is None
    assert pair.joint.restarts
    pair.end()


def test_joint_without_what_takes_images_knows_none_of_them(joint_build: Path) -> None:
    """Also where whoever built it has left it the name of a board."""
    pair = proven(joint_build / "sequence")
    frame = encode_image_frame(ImageFrame(0, b"a"))
    assert code(pair, IMAGES[0].update) == "message-unknown"
    assert code(pair, b'{"type":"update"}') == "message-unknown"
    assert code(pair, encode(Install())) == "message-unknown"
    assert code(pair, b'{"type":"install","header":1}') == "message-unknown"
    assert code(pair, frame) == "message-invalid"
    assert code(pair, frame[:-1] + b"?") == "message-invalid"
    assert code(pair, b'{"type":"clear"}') is None
    pair.end()
