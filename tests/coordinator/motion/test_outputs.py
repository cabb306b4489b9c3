"""Tool outputs in programs: where they switch, on which joint, what is awaited, what is wrong."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.arm import Arm, ToolOutput, load_arm
from coordinator.motion import check_program, plan_parts
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import parse_program
from coordinator.programs.loops import Loops
from protocol.points import Point
from protocol.segments import MIN_SPACING_US

DEMO = load_arm(Path(__file__).parents[3] / "coordinator" / "demo" / "arm.toml")
AT_ONCE = replace(DEMO, tool_outputs=(replace(DEMO.tool_outputs[0], wait_on=None),))
"""Nothing is awaited behind a switch."""
TWO = replace(
    AT_ONCE, tool_outputs=(*AT_ONCE.tool_outputs, ToolOutput("water", "forearm", 2, "M8", "M9"))
)
ZERO = [0] * 6


def columns(text: str, arm: Arm = AT_ONCE) -> list[tuple[Point, ...]]:
    """All points of a program of one part, time by time."""
    (part,) = plan_parts(parse_program(text, arm.letters), arm, ZERO)
    moves = [column for move in part.moves() for column in zip(*move.points, strict=True)]
    return [part.first_points(), *moves]


def test_an_output_switches_at_rest_between_the_moves_around_it_on_its_own_joint() -> None:
    found = columns("G0 A10\nM3\nG0 A0\nM2")
    (at,) = [k for k, column in enumerate(found) if any(point.output_mask for point in column)]
    assert {point.velocity for column in found[at - 1 : at + 1] for point in column} == {0}
    assert found[at][0].time_us == found[at - 1][0].time_us + MIN_SPACING_US
    assert [point.position for point in found[at]] == [point.position for point in found[at - 1]]
    assert [(p.output_mask, p.output_values) for p in found[at]] == [(0, 0)] * 5 + [(1, 1)]
    assert [point.time_us for point in found[at]] == [found[at][0].time_us] * 6


def test_two_outputs_of_two_joints_switch_one_after_the_other_by_their_own_bits() -> None:
    found = [
        [(k, p.output_mask, p.output_values) for k, p in enumerate(column) if p.output_mask]
        for column in columns("M3 M8\nG0 A1\nM5\nM9\nM2", TWO)
    ]
    assert [one for one in found if one] == [
        [(5, 1, 1)], [(3, 4, 4)], [(5, 1, 0)], [(3, 4, 0)],
    ]  # fmt: skip


def test_the_last_point_may_switch_and_is_still_the_last() -> None:
    found = columns("G0 A1\nM3\nM2")
    assert [(point.last, point.output_mask) for point in found[-1]] == [(True, 0)] * 5 + [(True, 1)]
    assert not any(point.last for column in found[:-1] for point in column)


@given(st.lists(st.sampled_from(["G0 A1", "G0 A0 B2", "M3", "M5", "M8", "M9", "G4 P0.01"])))
def test_every_word_switches_once_in_order_and_always_at_rest(lines: list[str]) -> None:
    text = "\n".join([*lines, "M2"])
    parts = plan_parts(parse_program(text, TWO.letters), TWO, ZERO)
    found: list[tuple[Point, ...]] = []
    for part in parts:
        found += [column for move in part.moves() for column in zip(*move.points, strict=True)]
    words = {(5, 1, 1): "M3", (5, 1, 0): "M5", (3, 4, 4): "M8", (3, 4, 0): "M9"}
    switched = [
        (words[k, point.output_mask, point.output_values], point.velocity)
        for column in found
        for k, point in enumerate(column)
        if point.output_mask
    ]
    assert switched == [(line, 0) for line in lines if line.startswith("M")]
    for a, b in pairwise(found):
        assert b[0].time_us - a[0].time_us >= MIN_SPACING_US


def test_a_program_is_parted_where_an_input_is_awaited() -> None:
    parts = plan_text("G0 A10\nM3\nG0 A0\nM5\nG0 A5\nM2", DEMO, pose_at(DEMO, ZERO))
    assert [part.pause_line for part in parts] == [None, None]
    first = parts[0].awaits
    assert first is not None
    assert (first.line, first.wait.input, first.wait.within_s) == (2, "seedling_held", 2.0)
    assert parts[1].awaits is None
    assert parts[1].start.degrees[0] == 10.0
    assert [first.there(inputs) for inputs in (0, 1, 2, 3)] == [False, True, False, True]
    assert first.missing == ("seedling_held of tool was not on within 2 s of gripper on (line 2)")


def test_a_wait_at_the_end_of_a_program_and_in_every_loop_ends_a_part_of_its_own() -> None:
    parts = plan_text("G0 A10\nM3\nM2", DEMO, pose_at(DEMO, ZERO), loops=Loops(3))
    assert [part.awaits.line for part in parts if part.awaits is not None] == [2, 2, 2]
    assert [part.loop for part in parts] == [1, 2, 3]
    assert [part.pause_loop for part in parts] == [1, 2, 3]


def test_a_switch_takes_its_time_in_a_check_and_is_no_move() -> None:
    with_switch = check_program("G0 A10\nM3\nA0\nM2", DEMO)
    without = check_program("G0 A10\nA0\nM2", DEMO)
    assert with_switch.ok
    assert with_switch.duration_s == pytest.approx((without.duration_s or 0) + 0.001)
    assert [move.line for move in with_switch.moves] == [1, 3]


def test_a_word_without_an_output_is_a_mistake_with_line_and_column() -> None:
    result = check_program("G0 A1 M8\nM05\nM2", DEMO)
    assert [(one.line, one.column, one.message) for one in result.errors] == [
        (1, 7, "M8 switches no output of this arm; it has M3 M5")
    ]
    (none,) = check_program("M3\nM2", replace(DEMO, tool_outputs=())).errors
    assert none.message == "M3 switches no output of this arm; it has none"
