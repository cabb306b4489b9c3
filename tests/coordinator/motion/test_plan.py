"""Programs as parts: parting at pauses, path time, ranges, laziness."""

from itertools import islice, pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.arm import load_arm
from coordinator.motion import Part, check_program, plan_parts
from coordinator.programs import ProgramError, parse_program
from protocol.points import Point

ARM = load_arm(Path(__file__).parents[3] / "coordinator" / "demo" / "arm.toml")
ZERO = (0,) * 6


def parts(text: str, start: tuple[int, ...] = ZERO) -> tuple[Part, ...]:
    return plan_parts(parse_program(text, ARM.letters), ARM, start)


def mistakes(text: str, start: tuple[int, ...] = ZERO) -> list[tuple[int, int, str]]:
    with pytest.raises(ProgramError) as caught:
        parts(text, start)
    return [(p.line, p.column, p.message) for p in caught.value.problems]


def to_degrees(counts: list[int]) -> list[float]:
    return [joint.to_degrees(at) for joint, at in zip(ARM.joints, counts, strict=True)]


def test_a_program_is_parted_at_every_m0() -> None:
    first, second = parts("G0 A10\nA20 M0\nA30\nM2")
    assert [move.line for move in first.moves()] == [1, 2]
    assert first.pause_line == 2
    assert [move.line for move in second.moves()] == [3]
    assert second.pause_line is None


def test_each_part_begins_at_path_time_zero_where_the_one_before_ended() -> None:
    first, second = parts("G0 A10 U400 M0\nB5\nM2")
    ended = tuple(points[-1].position for points in list(first.moves())[-1].points)
    assert first.first_points() == tuple(Point(0, 0, 0) for _ in range(6))
    assert second.first_points() == tuple(Point(0, at, 0) for at in ended)
    assert next(second.moves()).start_us == 0


def test_only_the_last_point_of_a_part_is_marked_as_last() -> None:
    for part in parts("G0 A10\nB5\nG4 P1\nG0 A10\nM0\nG4 P1\nM0\nA0\nA0\nM2"):
        moves = list(part.moves())
        marks = [point.last for move in moves for point in move.points[0]]
        assert marks == [False] * (len(marks) - 1) + [True]
        assert not any(point.last for point in part.first_points())


def test_a_part_of_rest_only_is_a_trajectory_of_two_points() -> None:
    (part,) = parts("G4 P2\nM2")
    assert not part.is_empty
    (dwell,) = part.moves()
    assert dwell.points[0] == (Point(2_000_000, 0, 0, last=True),)


def test_a_part_without_path_time_is_kept_for_its_pause_only() -> None:
    empty, moving, again = parts("M0\nG0 A10\nM0\nA10\nM0\nG4 P0\nM2")
    assert (empty.is_empty, empty.pause_line) == (True, 1)
    assert empty.first_points() == tuple(Point(0, 0, 0, last=True) for _ in range(6))
    assert not moving.is_empty
    # A move to where the arm is passes no time; at the end of the program nothing waits for it.
    assert (again.is_empty, again.pause_line) == (True, 5)
    assert [move.duration_us for move in again.moves()] == [0]


def test_a_program_that_does_nothing_has_no_parts() -> None:
    assert parts("M2") == ()
    assert parts("G0 A0 B0\nG4 P0\nM2") == ()


def test_a_program_begins_where_the_arm_is() -> None:
    start = (123_456, -7, 0, 99, 5, 10**9)
    (part,) = parts("G0 B10\nM2", start)
    assert tuple(point.position for point in part.first_points()) == start
    (move,) = part.moves()
    ends = [points[-1].position for points in move.points]
    assert ends == [123_456, ARM.joints[1].to_counts(10.0), 0, 99, 5, 10**9]


def test_distances_add_up_without_drift() -> None:
    # A third of a degree is no whole number of counts.
    (part,) = parts("G91 G0 A0.333333\n" + "A0.333333\n" * 299 + "M2")
    last = list(part.moves())[-1]
    assert last.points[0][-1].position == ARM.joints[0].to_counts(300 * 0.333333)
    assert last.target_deg[0] == pytest.approx(99.9999, abs=1e-9)


def test_distances_count_from_where_the_move_begins() -> None:
    start = (ARM.joints[0].to_counts(30.0), 0, 0, 0, 0, 0)
    (part,) = parts("G91 G0 A10 U-90\nG90 A5\nM2", start)
    first, second = part.moves()
    assert first.target_deg[0] == pytest.approx(40.0, abs=1e-4)
    assert first.target_deg[5] == -90.0
    assert second.target_deg[0] == 5.0


def test_a_target_beyond_a_range_is_named_with_line_column_joint_limit_and_value() -> None:
    found = mistakes("G0 A10 B95.5\nC-131 M0\nA170 B95 C-130\nG91 A0.1\nM2")
    assert [(line, column) for line, column, _ in found] == [(1, 8), (2, 1), (4, 5)]
    assert found[0][2] == ("shoulder would go to 95.5°, beyond its limit of 95° (range -95 to 95°)")
    assert "elbow would go to -131°, beyond its limit of -130°" in found[1][2]
    assert "turntable would go to 170.1°" in found[2][2]


def test_the_ends_of_a_range_may_be_reached_also_by_adding_up() -> None:
    (part,) = parts("G91 G0 " + "B9.5\n" * 10 + "B-19\n" * 10 + "G90 B95\nB-95\nM2")
    ends = [move.points[1][-1].position for move in part.moves()]
    counts = ARM.joints[1].range_counts
    assert counts is not None
    assert {min(ends), max(ends)} == set(counts)


def test_a_joint_without_range_may_turn_a_million_degrees_and_no_more() -> None:
    assert mistakes("G0 U1000001 M0\nM2") == [
        (1, 4, "tool would turn to 1e+06°, the limit is 1000000° either way")
    ]


@pytest.mark.parametrize(
    ("text", "column", "part"),
    [
        ("G1 A90 F1", 1, "the move would take 5400 s, the limit is 3600 s"),
        ("G93 G1 A90 F0.01", 5, "the move would take 6000 s"),
        ("G0 U500000", 1, "the move would take 4166.67 s"),
        ("G4 P3601", 4, "the dwell would take 3601 s"),
        ("G0 A1" + "9" * 200, 4, "turntable would go to 2e+200°"),
        ("G4 P1" + "9" * 200, 4, "the dwell would take 2e+200 s"),
        ("G1 A1 F." + "0" * 200 + "1", 1, "the move would take 6e+202 s"),
        ("G93 G1 A1 F." + "0" * 200 + "1", 5, "the move would take 6e+202 s"),
    ],
)
def test_what_takes_over_an_hour_is_a_slip(text: str, column: int, part: str) -> None:
    ((line, at, message),) = mistakes(f"{text}\nM2")
    assert (line, at) == (1, column)
    assert part in message


def test_positions_must_match_the_joints() -> None:
    with pytest.raises(ValueError, match="zip"):
        parts("G0 A1\nM2", (0, 0))


def test_moves_are_planned_as_they_are_asked_for_and_again_the_same() -> None:
    (part,) = parts("G91 G0 U1\n" + "U1\n" * 5000 + "M2")
    assert list(islice(part.moves(), 3)) == list(islice(part.moves(), 3))
    assert iter(part.moves()) is not part.moves()


LINES = st.lists(
    st.one_of(
        st.tuples(
            st.sampled_from(["G0 ", "G1 F500 ", "G91 G1 F2000 ", "G90 "]),
            st.sampled_from("ABCDEU"),
            st.floats(-40.0, 40.0).map(lambda x: f"{x:.3f}"),
        ).map("".join),
        st.sampled_from(["G4 P0.25", "M0", "G4 P0"]),
    ),
    max_size=12,
)


@given(LINES, st.lists(st.integers(-(10**5), 10**5), min_size=6, max_size=6))
def test_points_of_a_part_follow_each_other_and_parts_join_without_a_step(
    lines: list[str], start: list[int]
) -> None:
    text = "\n".join(["G0 G90 A0", *lines, "M2"])
    if not check_program(text, ARM, to_degrees(start)).ok:  # distances add up beyond a range
        assert "beyond its limit" in mistakes(text, tuple(start))[0][2]
        return
    found = parts(text, tuple(start))
    at = start
    for part in found:
        assert [point.position for point in part.first_points()] == at
        columns = [part.first_points()]
        end_us = 0
        for move in part.moves():
            assert move.start_us == end_us == columns[-1][0].time_us
            assert all(p.velocity == 0 for p in columns[-1])
            columns += zip(*move.points, strict=True)
            end_us += move.duration_us
            assert columns[-1][0].time_us == end_us
            targets = zip(ARM.joints, move.target_deg, strict=True)
            assert [p.position for p in columns[-1]] == [j.to_counts(t) for j, t in targets]
        assert all(b[0].time_us - a[0].time_us >= 1000 for a, b in pairwise(columns))
        assert part.is_empty == (len(columns) == 1)
        assert columns[-1][0].last
        at = [point.position for point in columns[-1]]
    assert [part.pause_line is None for part in found[:-1]] == [False] * len(found[:-1])
