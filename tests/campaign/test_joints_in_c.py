"""Scenarios on joints in C, and that their faults are noticed."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.rehearsal.joint_node import Node
from protocol.drive import Drive
from protocol.image import ImageFrame
from protocol.messages import Discard
from protocol.points import PointsFrame
from tests.campaign.clone import clone
from tests.campaign.faults_in_c import FAULTS
from tests.campaign.generate import generate
from tests.campaign.invariants.base import Invariant
from tests.campaign.joints_in_c.joint import BytesOnlyError, JointInC
from tests.campaign.joints_in_c.motor import STEP_COUNTS
from tests.campaign.judge import Violated
from tests.campaign.mutants import ROOT, Mutant, changed
from tests.campaign.mutants_c import copied, run
from tests.campaign.play import play, scenario_of
from tests.campaign.scenario import Scenario, make_arm, make_units
from tests.campaign.stage import stage_of

QUICK = (8, 10, 13, 14, 37, 39, 51, 59)
"""Of one joint or two: restarts, a second laptop, outages, small buffers, homing, lost steps."""
QUICK_MIXED = (5, 38, 62)
OVERHEARD = 33
FROM_NOW_US = (0, 10_000, 1_000_000)


@pytest.mark.parametrize("seed", QUICK)
def test_random_scenarios_on_joints_in_c_break_no_invariant(seed: int) -> None:
    assert play(scenario_of(seed, "c")).violation is None


@pytest.mark.parametrize("seed", QUICK_MIXED)
def test_every_second_joint_in_c_breaks_no_invariant(seed: int) -> None:
    assert play(scenario_of(seed, "mixed")).violation is None


def test_stranger_is_not_heard_by_joints_in_c() -> None:
    assert play(replace(scenario_of(OVERHEARD, "c"), real_bytes=True)).violation is None


def test_same_seed_gives_the_same_world_on_joints_in_c() -> None:
    scenario = scenario_of(8, "c")
    first, again = play(scenario), play(scenario)
    assert first == again
    assert first.starts > 0


def test_mixed_arm_has_every_second_joint_in_c() -> None:
    scenario = next(one for one in map(generate, range(1, 100)) if one.joints == 4)
    for joints_in, wanted in (
        ("python", [False] * 4),
        ("c", [True] * 4),
        ("mixed", [False, True, False, True]),
    ):
        mixed = replace(scenario, joints_in=joints_in)
        units = make_units(mixed, make_arm(mixed), 0)
        assert [isinstance(unit.joint, JointInC) for unit in units] == wanted


def test_scenario_on_joints_in_c_is_the_same_after_a_file() -> None:
    scenario = scenario_of(1, "mixed")
    again = Scenario.from_json(scenario.to_json())
    assert (again, again.joints_in) == (scenario, "mixed")


def test_copy_of_a_joint_in_c_goes_on_by_itself() -> None:
    stage = stage_of(scenario_of(14, "c"), ())
    joint = next(iter(stage.world.nodes.values())).unit.joint
    assert isinstance(joint, JointInC)
    before = bytes(joint.core.seen)
    copy: JointInC = clone(joint)
    session, sequence = joint.session, joint._session.sequence
    assert session is not None
    status = copy.drive(Drive(session, sequence + 1), copy._now + 1)
    assert status is not None
    assert copy.core.seen.sequence == sequence + 1
    assert bytes(joint.core.seen) == before
    # What the copy keeps of its configuration is its own, and whole.
    assert copy._body.limits == joint._body.limits
    assert clone(copy).status(copy._now).position == joint.status(joint._now).position


class _LookedAtAnew(Invariant):
    """What an image keeps is what it would be were all of it filled, and time that has passed
    already changes nothing in the core.
    """

    name = "anew"

    def touched(self, node: Node) -> None:
        joint = node.unit.joint
        assert isinstance(joint, JointInC)
        anew: JointInC = clone(joint)
        anew.core.run(joint._now)
        assert bytes(anew.core.now) == bytes(joint.core.now)
        assert bytes(anew.core.seen) == bytes(joint.core.seen)
        anew._seen = anew._seen_clock = anew._seen_path = b""
        anew._seen_points = anew._seen_motion = b""
        anew._points = 0, 0, 0
        anew.show()
        assert _image(anew) == _image(joint)


def _image(joint: JointInC) -> dict[str, object]:
    body, path = joint._body, joint.path
    buffer, motion, clock, course = path.buffer, body.motion, body.clock, path.course
    return {
        "status": joint._status(joint._now),
        "due": joint.next_deadline(),
        "clock": None if clock is None else (clock.map, clock._remainder_us, clock._since_us),
        "points": (buffer._times, buffer._points, list(buffer.switches), buffer.last),
        "plan": (path.current, path.pending, path.permit_us, path.began_us, path.goal_us),
        "course": [
            course and clock and course.at(clock.arm(joint._now + us)) for us in FROM_NOW_US
        ],
        "motion": None if motion is None else (motion.segments, motion.end_us),
    }


@pytest.mark.parametrize("seed", [8, 14])
def test_image_is_as_if_all_of_it_were_filled_each_time(seed: int) -> None:
    assert play(scenario_of(seed, "c"), kinds=(_LookedAtAnew,)).violation is None


@pytest.mark.parametrize(
    ("what", "ask"),
    [
        ("a frame of points", lambda joint: joint.points(PointsFrame(1, 0, ()), 0.0)),
        ("a request", lambda joint: joint.request(Discard(), 0.0)),
        ("an image", lambda joint: joint.image_frame(ImageFrame(1, b""), 0.0)),
        ("a session", lambda joint: joint.session_refusal(bytes(16), 1, 0.0)),
        ("a session", lambda joint: joint.begin_session(bytes(16), 1, 0.0)),
        ("what is heard", lambda joint: joint.heard(0.0)),
    ],
)
def test_joint_in_c_takes_no_values_which_its_image_alone_would_hear(
    what: str, ask: Callable[[JointInC], object]
) -> None:
    scenario = scenario_of(8, "c")
    joint = make_units(scenario, make_arm(scenario), 0)[0].joint
    assert isinstance(joint, JointInC)
    with pytest.raises(BytesOnlyError, match=rf"^{what} comes to a joint in C as bytes"):
        ask(joint)


def test_touch_of_a_joint_in_c_is_told_by_its_status() -> None:
    scenario = scenario_of(8, "c")
    joint = make_units(scenario, make_arm(scenario), 0)[0].joint
    joint.touch(-3, 2, 65535)
    status = joint.status(joint._now)
    told = status.touch_turn, status.touch_presses, status.touch_long_presses
    assert told == (joint.touch_turn, joint.touch_presses, joint.touch_long_presses)
    assert told == (-3, 2, 65535)


@pytest.mark.parametrize(("what", "by"), [("motor", 2 * STEP_COUNTS), ("position", 100.0)])
def test_steps_that_do_not_follow_the_joint_in_c_are_noticed(what: str, by: float) -> None:
    stage = stage_of(scenario_of(14, "c"), ())
    node = next(iter(stage.world.nodes.values()))
    joint = node.unit.joint
    assert isinstance(joint, JointInC)
    node.touched()
    setattr(joint.core.now, what, type(by)(getattr(joint.core.now, what) + by))
    with pytest.raises(Violated, match=r"^motor "):
        node.touched()


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: str(fault.slug))
def test_fault_finds_its_text_once(fault: Mutant) -> None:
    for path, text in changed(fault, ROOT).items():
        assert text != path.read_text()


def test_no_two_faults_have_one_name() -> None:
    assert len({fault.what for fault in FAULTS}) == len(FAULTS)


@pytest.mark.timeout(300)
def test_faults_in_c_are_noticed(tmp_path: Path) -> None:
    parts = ("sequences", "updates", "campaign")
    copied(tmp_path, parts)
    for what, part in (
        ("sequence: an old drive is taken", "sequences"),
        ("firmware: its hash is not checked", "updates"),
        ("permit: it is not obeyed", "campaign"),
    ):
        (fault,) = (one for one in FAULTS if one.what == what)
        found = run(fault, tmp_path, (part,))
        assert found is not None
        assert found.by == part
