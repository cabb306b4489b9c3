"""Arriving from one side: where joints overtravel, where not, and within which limits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.config.approach import Approach
from coordinator.config.arm import Arm
from coordinator.motion import Part, PlannedMove, check_program, fastest
from coordinator.motion.curves import curves
from coordinator.motion.marks import MarkKind
from coordinator.motion.plan import plan_text
from coordinator.motion.reversal import named as names
from coordinator.motion.route import pose_at, pose_of
from coordinator.programs import NO_SWITCHES, Move, PathControl, ProgramError, Switches
from coordinator.programs.loops import Loops
from coordinator.teaching.program import to_program
from coordinator.teaching.taught import Sequence, Taught, Visit, Waypoint
from protocol.constants import ACCELERATION_SHARE
from protocol.points import Point
from simulator.physics.play import Play
from tests.coordinator.motion.blending.paths import ARM, Planned

ZERO = (0,) * 6
NOWHERE = np.zeros((0, 6))
PLAY_DEG, OVER_DEG = 0.2, 0.5


def sided(arm: Arm = ARM, *, directions: tuple[int, ...] = (1, 1, -1)) -> Arm:
    """The arm with an approach side of its first joints."""
    approaches = [Approach(direction, OVER_DEG) for direction in directions]
    joints = [replace(arm.joints[k], approach=one) for k, one in enumerate(approaches)]
    return replace(arm, joints=(*joints, *arm.joints[len(joints) :]))


SIDED = sided()


def parts(
    text: str, arm: Arm = SIDED, loops: int = 1, switches: Switches = NO_SWITCHES
) -> tuple[Part, ...]:
    return plan_text(text + "\nM2\n", arm, pose_at(arm, ZERO), Loops(loops), switches)


def moves(text: str, arm: Arm = SIDED, loops: int = 1) -> list[PlannedMove]:
    return [move for part in parts(text, arm, loops) for move in part.moves()]


def overtravels(text: str, arm: Arm = SIDED, loops: int = 1) -> list[tuple[int, str]]:
    """Lines and letters of the joints that overtravel there."""
    return [
        (move.line, "".join(arm.words[k] for k in move.overtravel))
        for move in moves(text, arm, loops)
        if move.overtravel
    ]


def columns(part: Part) -> list[tuple[Point, ...]]:
    found = [part.first_points()]
    for move in part.moves():
        found += zip(*move.points, strict=True)
    return found


def outputs(arm: Arm, part: Part, plays: list[Play]) -> list[list[float]]:
    """Where outputs stand at the end of each move, in degrees, behind the play of each joint."""
    found, before = [], part.first_points()
    for move in part.moves():
        for column in zip(*move.points, strict=True):
            planned = Planned(arm, [], [before, column], NOWHERE)
            for angles in planned.path():
                for play, angle in zip(plays, angles, strict=True):
                    play.follow(angle)
            before = column
        found.append([play.output for play in plays])
    return found


def test_a_joint_that_comes_from_the_wrong_side_turns_beyond_its_target_and_back() -> None:
    (there, back) = moves("G0 A20\nA10")
    assert (there.overtravel, back.overtravel) == ((), (0,))
    angles = [ARM.joints[0].to_degrees(point.position) for point in back.points[0]]
    assert min(angles) == pytest.approx(10 - OVER_DEG, abs=1e-4)
    assert angles[-1] == pytest.approx(10, abs=1e-4)
    assert back.points[0][-1].velocity == 0


def test_a_work_move_keeps_its_path_and_then_overtravels_for_twice_the_fastest_turn() -> None:
    # facts.md, a not reached: 4·∛(D/2j), each way; 0.5° and 600 °/s³ need 3.7 °/s, and 10 % of
    # 60 °/s is what overtravel may have.
    (_, back) = moves("G1 F3000 A20\nA10")
    each = fastest(OVER_DEG, 6.0, ACCELERATION_SHARE * 120.0, 600.0).duration_s
    assert each == pytest.approx(4 * (OVER_DEG / 1200) ** (1 / 3), rel=1e-6)
    assert back.overtravel_us == pytest.approx(2e6 * each, abs=10)  # a count is 4 µs
    plain = moves("G1 F3000 A20\nA10", ARM)[1]
    assert back.duration_us == plain.duration_us + back.overtravel_us
    # The way there is as it was.
    assert back.points[0][: len(plain.points[0])] == tuple(
        replace(point, last=False) for point in plain.points[0]
    )


def test_a_rapid_move_goes_straight_beyond_and_back() -> None:
    back = moves("G0 A20\nA10")[1]
    # facts.md, a reached, v not, over 10.5° there; then 0.5° back.
    there = fastest(10 + OVER_DEG, 60.0, ACCELERATION_SHARE * 120.0, 600.0).duration_s
    each = 4 * (OVER_DEG / 1200) ** (1 / 3)
    assert back.duration_us == pytest.approx(1e6 * (there + each), abs=10)
    assert back.overtravel_us == pytest.approx(1e6 * each, abs=10)
    (_, both) = moves("G0 A20 B0\nA10 B10")
    ends = [(p.velocity, q.velocity) for p, q in zip(*both.points[:2], strict=True)]
    assert ends.count((0, 0)) == 2  # beyond, and at its end: nowhere else is a rest


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("G0 A20\nA10", [(2, "A")]),
        ("G0 C20\nC10", [(1, "C")]),  # it is to arrive turning downwards
        ("G0 A20 B-20 C20\nG0 A-20", [(1, "BC"), (2, "A")]),
        ("G0 A0.3", [(1, "A")]),  # not far enough to have taken up what nobody knows
        ("G0 A0.3\nA0.6", [(1, "A")]),  # from then on it stands on its side
        ("G0 A0 B0", [(1, "AB")]),  # asked to be there, and nobody knows how it stands
        ("G0 D20\nD0", []),  # no approach side
        ("G0 D20", []),  # and who is not named is left alone
        ("G91 G0 A5\nA-0.001", [(2, "A")]),
        ("G0 A20\nA10\nA20\nG4 P1\nA20", [(2, "A")]),
    ],
)
def test_who_overtravels_at_exact_stops(text: str, expected: list[tuple[int, str]]) -> None:
    assert overtravels(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("G64 G0 A-20\nB20", [(2, "A")]),  # passed on line 1, at rest on line 2
        ("G64 G0 A-20\nB20\nG4 P1\nB30", [(2, "A")]),
        ("G64 G0 A-20\nB20\nM3\nB30", [(2, "A")]),
        ("G64 G0 A-20\nB20\nG61.1 D5", [(3, "A")]),
        ("G64 G0 A-20\nB20\nG61 D5", [(2, "A")]),  # G61 begins at its corner
        ("G64 G0 A-20\nA20", []),  # it turned back far enough
        ("G64 G0 A-20 P0.5\nG64 P0.2 B20\nB30", [(3, "A")]),
        ("G61 G0 A-20\nA-30\nB20", [(2, "A")]),  # straight on at line 1, a corner at line 2
        ("G61 G0 A-20\nA-20\nA-30\nA-30\nB20", [(4, "A")]),
        ("G61 G0 A-20\nB20\nG64 D5", [(1, "A")]),
        ("G61 G0 D20\nA-20\nG61.1 D5", [(2, "A")]),
        ("G0 A-20 M1\nD5", [(1, "A")]),
        ("G61 G0 A50 B-0.0002\nA100 B0", [(2, "B")]),  # a bend that no count resolves is passed
    ],
)
def test_where_the_program_asks_for_a_rest_in_g64_and_g61(
    text: str, expected: list[tuple[int, str]]
) -> None:
    assert overtravels(text) == expected


def test_a_pause_in_g64_is_a_rest() -> None:
    assert overtravels("G64 G0 A-20\nM0\nB20") == [(1, "A")]
    by_line = parts("G64 G0 A-20\nB20\nB30", switches=Switches(step_by_line=True))
    assert [move.overtravel for part in by_line for move in part.moves()] == [(0,), (), ()]


def test_optional_stops_that_are_off_are_no_rest() -> None:
    assert overtravels("G64 G0 A-20\nM1\nB20") == [(3, "A")]


def test_seams_of_loops_are_as_any_other_place() -> None:
    assert overtravels("G0 A20\nA10", loops=3) == [(2, "A")] * 3
    # In G64 the arm goes on from the last place to the first; at the very end it rests.
    assert overtravels("G64 G0 A20\nA10", loops=2) == [(2, "A")]
    # Known over pauses and loops: the second loop begins on its side.
    assert overtravels("G0 A0.3\nM0\nA0.6\nM0\nA0.3", loops=2) == [(1, "A"), (5, "A"), (5, "A")]
    found = overtravels("G0 A0.3\nM0\nA0.6", loops=2)
    assert found == [(1, "A"), (1, "A")], "back to 0.3° is the wrong way again"


def test_an_entry_brings_joints_to_their_place_from_their_side() -> None:
    text = "G0 A20 B20\nA10\nD5\nM2\n"
    switches = Switches(from_line=3)
    first, second = plan_text(text, SIDED, pose_at(SIDED, ZERO), switches=switches)
    (approach,) = first.moves()
    assert approach.overtravel == ()  # up from 0 to 10 and 20
    high = pose_of(SIDED, [30, 20, 0, 0, 0, 0])
    first, second = plan_text(text, SIDED, high, switches=switches)
    (approach,) = first.moves()
    # The one is above its place, the other there already, and nobody knows from which side.
    assert approach.overtravel == (0, 1)
    assert [move.overtravel for move in second.moves()] == [()]
    there = pose_of(SIDED, [10, 20, 0, 0, 0, 0])
    first, second = plan_text(text, SIDED, there, switches=switches)
    assert [move.overtravel for move in first.moves()] == [(0, 1)]
    assert (first.pause_line, first.is_empty) == (3, False)


def test_an_overtravel_out_of_range_names_joint_limit_and_value() -> None:
    with pytest.raises(ProgramError) as caught:
        parts("G0 A0\nA-169.8\nM0\nC20\nC129.9")
    first, second = caught.value.problems
    assert (first.line, first.column) == (2, 1)
    assert first.message == (
        "turntable would overtravel to -170.3° to come to -169.8° from below, beyond its limit of "
        "-170° (range -170 to 170°, overtravel_deg 0.5)"
    )
    assert (second.line, "elbow would overtravel to 130.4°" in second.message) == (5, True)
    assert "from above, beyond its limit of 130°" in second.message
    result = check_program("G0 A-169.8\nM2\n", SIDED)
    assert [one.line for one in result.errors] == [1]
    # Passed there, it does not overtravel; and from its own side it does not either.
    assert overtravels("G64 G0 A-169.8\nA0") == []
    assert overtravels("G0 A-169\nA-168.8") == [(1, "A")]


def test_check_tells_overtravel_with_its_time_and_where_there_is_none() -> None:
    text = "G1 F3000 A-20\nG64 A-30\nB20\nD5\nM2\n"
    result, plain = check_program(text, SIDED, [0.0] * 6), check_program(text, ARM, [0.0] * 6)
    told = result.overtravel
    assert told is not None
    assert plain.overtravel is None
    assert (told.stops, told.joints, told.passed) == (2, ("turntable",), 2)
    assert [move.overtravel for move in result.moves] == [
        ("turntable",), (), (), ("turntable",),
    ]  # fmt: skip
    assert result.duration_s is not None
    assert plain.duration_s is not None
    assert result.duration_s == pytest.approx(plain.duration_s + told.duration_s, abs=1e-5)


def test_a_picture_marks_overtravel_where_it_is() -> None:
    found = curves("G0 A20\nA10\nM2\n", SIDED, [0.0] * 6)
    (mark,) = (one for one in found.marks if one.kind is MarkKind.OVERTRAVEL)
    assert (mark.line, mark.end_s) == (2, found.duration_s)
    assert min(found.low_deg["turntable"][-60:]) == pytest.approx(9.5, abs=1e-3)


def test_without_approach_sides_a_plan_is_what_it_was() -> None:
    text = "G0 A20 B-20\nG64 C5\nA10\nG61 B3\nC3"
    known = replace(ARM.joints[0], reversal_error_deg=PLAY_DEG)
    other = replace(ARM, joints=(known, *ARM.joints[1:]))
    assert [one.points for one in moves(text, ARM)] == [one.points for one in moves(text, other)]


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["G61.1", "G61", "G64", "G64 P0.3"]),
        st.dictionaries(
            st.sampled_from("ABCD"), st.sampled_from([-9.0, -0.4, -0.05, 0.0, 0.05, 0.7, 8.0]),
            min_size=1,
        ),
        st.sampled_from(["", "", "", "\nG4 P0", "\nM3", "\nM0"]),
    ),
    min_size=1,
    max_size=7,
)  # fmt: skip


@settings(max_examples=25)
@given(STEPS, st.integers(1, 2))
def test_wherever_the_arm_rests_as_asked_play_is_taken_up_and_limits_are_kept(
    steps: list[tuple[str, dict[str, float], str]], loops: int
) -> None:
    arm = replace(
        SIDED,
        tool_outputs=tuple(replace(one, wait_on=None) for one in ARM.tool_outputs),
        joints=tuple(replace(joint, range_deg=None) for joint in SIDED.joints),
    )
    lines = [
        f"{mode}\nG1 {' '.join(f'{word}{turn}' for word, turn in turns.items())}{after}"
        for mode, turns, after in steps
    ]
    text = "G91 F2400\n" + "\n".join(lines)
    # As somebody left them: on the wrong side.
    directions = [1, 1, -1, 0, 0, 0]
    plays = [Play(PLAY_DEG if way else 0.0, way * PLAY_DEG / 2) for way in directions]
    named: frozenset[int] = frozenset()
    for part in parts(text, arm, loops):
        whole = Planned(arm, [], columns(part), NOWHERE)
        assert whole.refused() == []
        assert whole.jerk_excess() <= 1.0
        at_us, found = 0, outputs(arm, part, plays)
        for leg, move, output in zip(part.legs(), part.moves(), found, strict=True):
            assert move.start_us == at_us
            at_us += move.duration_us
            named |= names([leg.step])
            is_last = move.points[0] and move.points[0][-1].last
            asked = isinstance(leg.step, Move) and leg.step.path_control is PathControl.EXACT_STOP
            if is_last or asked:
                for k in named:
                    lag = leg.end.degrees[k] - output[k]
                    assert lag == pytest.approx(directions[k] * PLAY_DEG / 2, abs=1e-3)


def test_visits_of_a_sequence_that_are_not_passed_through_are_come_to_from_their_side() -> None:
    places = {"up": 20.0, "down": 10.0, "low": 5.0}
    waypoints = {
        k: Waypoint(k, name, {joint.name: at for joint in SIDED.joints})
        for k, (name, at) in enumerate(places.items(), 1)
    }
    visits = (Visit(1), Visit(2, passing=True), Visit(3), Visit(2))
    text = to_program(Sequence(1, "tray", visits), Taught(waypoints=waypoints), SIDED)
    assert [joints for _, joints in overtravels(text)] == ["C", "AB", "C"]
