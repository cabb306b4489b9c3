"""Which home edges can be checked between two loops, from where, and why others cannot."""

import math
import re
from dataclasses import replace

import pytest

from coordinator.config.approach import Approach
from coordinator.config.arm import Arm
from coordinator.motion import Part
from coordinator.motion.edges import EDGE_STEPS, EdgesError, edge_checks
from coordinator.motion.feeding import part_at
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at, pose_of
from coordinator.programs import ProgramError
from coordinator.programs.loops import MAX_FOR_S, Loops, loops_wanted
from tests.coordinator.motion.test_plan import ARM, ZERO

WIDTHS = {joint.name: 1.5 for joint in ARM.joints}
HERE = pose_at(ARM, ZERO)
FOR_A_TIME = Loops(None, 60.0)


def changed(name: str, **values: object) -> Arm:
    """The demo arm with other figures of one joint."""
    joints = tuple(
        replace(joint, **values) if joint.name == name else joint  # type: ignore[arg-type]
        for joint in ARM.joints
    )
    return replace(ARM, joints=joints)


def test_each_joint_rests_in_its_sensor_and_outside_on_the_side_from_which_homing_comes() -> None:
    checks, why = edge_checks(ARM, WIDTHS, HERE)
    assert why == ()
    names = [ARM.joints[check.joint].name for check in checks]
    assert names == list(ARM.homing_order)
    check = checks[names.index("turntable")]
    joint = ARM.joints[check.joint]
    # Homed at -165 towards smaller angles: 1.5 of sensor and 5 of backing off.
    assert joint.to_degrees(check.middle) == pytest.approx(-165.0, abs=0.01)
    assert joint.to_degrees(check.outside) == pytest.approx(-158.5, abs=0.01)
    found = [check.expected(joint.to_counts(at)) for at in (-165.0, -164.5, -163.5, -160.0, 0.0)]
    assert found == [True, True, None, False, False]


def test_where_that_side_is_outside_the_range_the_other_one_is_taken() -> None:
    arm = changed("turntable", range_deg=(-170.0, -160.0))
    checks, why = edge_checks(arm, {**WIDTHS, "turntable": 0.5}, HERE)
    assert len(checks) == 5
    (sentence,) = why
    assert sentence == (
        "the edge of turntable cannot be checked: its home sensor at -165° is left at -170.5 or "
        "-159.5°, both outside its range of -170 to -160°"
    )
    arm = changed("turntable", range_deg=(-171.0, -160.0))
    checks, why = edge_checks(arm, {**WIDTHS, "turntable": 0.5}, HERE)
    assert why == ()
    turntable = next(check for check in checks if check.joint == 0)
    assert arm.joints[0].to_degrees(turntable.outside) == pytest.approx(-170.5, abs=0.01)


def test_a_joint_whose_edges_nobody_knows_is_told() -> None:
    _, why = edge_checks(ARM, {}, HERE)
    assert len(why) == 6
    assert why[0] == (
        "the edge of tool cannot be checked: where its home sensor switches is not known here; "
        "home it"
    )


def test_a_joint_that_turns_without_end_goes_to_the_turn_of_its_sensor_that_is_near() -> None:
    arm = changed("turntable", range_deg=None)
    pose = pose_of(arm, [700.0, 0, 0, 0, 0, 0])
    checks, _ = edge_checks(arm, WIDTHS, pose)
    turntable = next(check for check in checks if check.joint == 0)
    assert arm.joints[0].to_degrees(turntable.middle) == pytest.approx(555.0, abs=0.01)
    assert turntable.expected(arm.joints[0].to_counts(-165.0)) is True


def test_one_joint_at_a_time_moves_no_faster_than_it_homes_and_comes_back() -> None:
    loops = Loops(2, None, check_edges=True)
    parts = plan_text("G0 A10 B20\nM2\n", ARM, HERE, loops, half_widths_deg=WIDTHS)
    assert [(part.loop, bool(part.edges)) for part in parts] == [(1, False), (2, True)]
    part = parts[1]
    ends = [leg.end for leg in part.legs()]
    assert ends[-1].counts == part.start.counts
    for leg, move in zip(part.legs(), part.moves(), strict=True):
        turned = [k for k in range(6) if leg.start.counts[k] != leg.end.counts[k]]
        assert len(turned) <= 1
        for k in turned:
            joint = ARM.joints[k]
            most = max(abs(point.velocity) for point in move.points[k])
            assert most <= 1.001 * joint.homing.fast_deg_s * abs(joint.counts_per_degree)
            low, high = joint.range_counts or (-math.inf, math.inf)
            assert all(low <= point.position <= high for point in move.points[k])


def edges_of(arm: Arm, text: str = "G0 B20\nM2\n") -> Part:
    """The check between the two loops of a program."""
    loops = Loops(2, None, check_edges=True)
    _, part = plan_text(text, arm, HERE, loops, half_widths_deg=WIDTHS)
    assert part.edges
    return part


@pytest.mark.parametrize("direction", [1, -1])
def test_a_joint_overtravels_only_where_it_comes_back_and_no_faster_than_it_homes(
    direction: int,
) -> None:
    arm = changed("turntable", approach=Approach(direction, 3.0))
    fast = replace(arm.joints[0].homing, fast_deg_s=3.0, slow_deg_s=1.0)
    arm = replace(arm, joints=(replace(arm.joints[0], homing=fast), *arm.joints[1:]))
    part, joint = edges_of(arm), arm.joints[0]
    assert arm.jog_speeds.teaching * joint.velocity_deg_s > 3.0
    moves = list(part.moves())
    overtravels = [
        (number, move.overtravel) for number, move in enumerate(moves) if move.overtravel
    ]
    back = EDGE_STEPS * list(arm.homing_order).index("turntable") + 4
    # It comes back towards larger angles: from below all the way.
    assert overtravels == ([] if direction > 0 else [(back, (0,))])
    most = max(abs(point.velocity) for move in moves for point in move.points[0])
    assert most <= 1.001 * 3.0 * abs(joint.counts_per_degree)
    assert moves[-1].points[0] == () or moves[-1].points[0][-1].position == part.start.counts[0]


def test_a_joint_that_would_overtravel_out_of_its_range_after_its_check_is_told_by_name() -> None:
    arm = changed("turntable", approach=Approach(-1, 3.0))
    loops = Loops(2, None, check_edges=True)
    high = pose_of(arm, [169.0, 0, 0, 0, 0, 0])
    with pytest.raises(EdgesError) as caught:
        plan_text("G0 B20\nM2\n", arm, high, loops, half_widths_deg=WIDTHS)
    assert str(caught.value) == (
        "the edge of turntable cannot be checked: turntable would overtravel to 172° to come to "
        "169° from above, beyond its limit of 170° (range -170 to 170°, overtravel_deg 3)"
    )
    # It is where the loop ends that counts.
    plan_text("G0 A0\nM2\n", arm, high, loops, half_widths_deg=WIDTHS)


def test_a_joint_that_homes_just_inside_its_range_is_checked_in_spite_of_its_overtravel() -> None:
    joint = next(joint for joint in ARM.joints if joint.name == "elbow")
    arm = changed("elbow", approach=Approach(1, 8.0), home_deg=-127.0)
    assert joint.range_deg == (-130.0, 130.0)
    assert len(edges_of(arm).edges) == 6


def test_a_run_whose_edges_cannot_be_checked_is_refused_with_every_joint() -> None:
    with pytest.raises(EdgesError, match="the edge of tool cannot be checked") as caught:
        plan_text("G0 A1\nM2\n", ARM, HERE, Loops(2, None, check_edges=True))
    assert str(caught.value).count("the edge of ") == 6


def test_for_a_time_the_second_loop_is_played_again_and_again() -> None:
    parts = plan_text("G0 A10\nM0\nA20\nM2\n", ARM, HERE, FOR_A_TIME)
    later = [part_at(parts, index, FOR_A_TIME) for index in range(8)]
    assert [part.loop for part in later if part] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert [part.pause_loop for part in later if part] == [1, None, 2, None, 3, None, 4, None]
    assert [part.start.degrees[0] for part in later if isinstance(part, Part)] == [
        0,
        10,
        20,
        10,
        20,
        10,
        20,
        10,
    ]
    assert part_at(parts, 2, Loops(1)) is parts[2]
    assert part_at(parts, 4, Loops(2)) is None


class Counted:
    """Parts, and how often one was looked at."""

    def __init__(self, parts: tuple[Part, ...]) -> None:
        self.parts, self.looks = parts, 0

    def __len__(self) -> int:
        return len(self.parts)

    def __getitem__(self, index: int, /) -> Part:
        self.looks += 1
        return self.parts[index]


def test_a_part_that_is_played_again_is_found_without_a_look_at_all_of_them() -> None:
    parts = Counted(plan_text(500 * "G0 A10\nM0\nA20\nM0\n" + "M2\n", ARM, HERE, FOR_A_TIME))
    assert len(parts) == 2_000
    found = part_at(parts, 3_001, FOR_A_TIME)
    assert isinstance(found, Part)
    assert (found.loop, found.start) == (4, parts.parts[1_001].start)
    assert parts.looks <= 16


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("G91 G0 A5\nM2\n", "each loop turns turntable on by 5°, so how far it would go in a time"),
        ("G0 A5\nM2\n", "the second loop moves nothing, so this cannot be played for a time"),
    ],
)
def test_what_cannot_be_played_for_a_time_says_why(text: str, says: str) -> None:
    with pytest.raises(ProgramError, match=says):
        plan_text(text, ARM, HERE, FOR_A_TIME)


@pytest.mark.parametrize(
    ("number", "for_s", "edges", "says"),
    [
        (3, 60.0, False, "both a number of loops (3) and a time (60 s) are given; give one"),
        (0, None, False, "the number of loops is 0, but must be from 1 to 10000"),
        (None, 0.0, False, "the time to play for is 0 s, but must be above 0 and at most 86400 s"),
        (None, -5.0, False, "the time to play for is -5 s, but must be above 0"),
        (None, MAX_FOR_S + 1, False, "the time to play for is 86401 s, but must be above 0"),
        (None, float("nan"), False, "the time to play for is nan s, but must be above 0"),
        (1, None, True, "home edges are checked between two loops, and only one loop is asked for"),
        (None, None, True, "home edges are checked between two loops, and only one"),
    ],
)
def test_a_wish_that_is_none_is_told_with_the_limit_and_the_value(
    number: int | None, for_s: float | None, edges: bool, says: str
) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(says)}"):
        loops_wanted(number, for_s, check_edges=edges)


def test_without_a_wish_it_is_played_once() -> None:
    assert loops_wanted(None) == Loops(1)
