"""Sequences as RS-274/NGC programs (NISTIR 6556) and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion import check_program
from coordinator.teaching.changes import applied
from coordinator.teaching.known import sequence_of
from coordinator.teaching.program import from_program, to_program
from coordinator.teaching.rewrite import Rewrite
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import Taught, TaughtError, Waypoint
from coordinator.teaching.visit_edits import SetVisit
from tests.coordinator.teaching.kit import ARM, Teaching, taught, without_ids


def written(teaching: Teaching, text: str, sequence: int = 1) -> None:
    """Make a sequence what a program says."""
    visits, problems = from_program(text, ARM)
    assert problems == []
    change = Rewrite(sequence, tuple(visits)).change(teaching.taught, teaching.known)
    teaching.taught = applied(teaching.taught, change)


def mistakes(text: str) -> list[tuple[int, int, str]]:
    return [(one.line, one.column, one.message) for one in from_program(text, ARM)[1]]


@given(taught())
def test_sequence_to_program_to_sequence_is_the_identity(before: Taught) -> None:
    for number, sequence in before.sequences.items():
        text = to_program(sequence, before, ARM)
        visits, problems = from_program(text, ARM)
        assert problems == []
        change = Rewrite(number, tuple(visits)).change(before, Teaching().known)
        assert change == (), text


@given(taught())
def test_sequence_written_into_an_empty_one_is_the_same_to_people(before: Taught) -> None:
    for sequence in before.sequences.values():
        text = to_program(sequence, before, ARM)
        teaching = Teaching()
        teaching.edit(AddSequence("add-sequence", sequence.name))
        written(teaching, text)
        used = {visit.waypoint for visit in sequence.visits}
        alone = Taught(
            {number: one for number, one in before.waypoints.items() if number in used},
            {sequence.id: sequence},
        )
        assert without_ids(teaching.taught) == without_ids(alone)


def test_program_of_a_sequence_has_a_line_for_each_visit_and_is_sound() -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "one tray"))
    teaching.record(1, "above the tray", turntable=-35.0, shoulder=20.5)
    teaching.record(1, "in the tray", shoulder=32.12345)
    teaching.edit(SetVisit("set-visit", 1, 1, 40.0, True, None, 0.5))
    text = to_program(teaching.taught.sequences[1], teaching.taught, ARM)
    assert text.splitlines() == [
        "(sequence one tray)",
        "G90 G94",
        "G0 A-35 B20.5 C0 (above the tray)",
        "G64",
        "G0 A-35 B32.12345 C0 (in the tray) (UNISONO, speed 40)",
        "G4 P0.5",
        "M2",
    ]
    found = check_program(text, ARM)
    assert found.ok
    assert len(found.moves) == 2


def test_program_with_outputs_is_kept_and_can_be_played() -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "grip"))
    teaching.record(1)
    teaching.edit(SetVisit("set-visit", 1, 0, outputs=["M3"]))
    text = to_program(teaching.taught.sequences[1], teaching.taught, ARM)
    assert check_program(text, ARM).ok
    assert mistakes(text) == []


def test_waypoint_that_another_sequence_visits_too_is_changed_once() -> None:
    teaching = Teaching()
    for name in ("first", "second"):
        teaching.edit(AddSequence("add-sequence", name))
        written(teaching, "G0 A1 B2 C3 (shared)\nM2", max(teaching.taught.sequences))
    assert len(teaching.taught.waypoints) == 1
    written(teaching, "G0 A5 B2 C3 (Shared)\nM2")
    ((_, waypoint),) = teaching.taught.waypoints.items()
    assert waypoint.angles_deg == {"turntable": 5.0, "shoulder": 2.0, "elbow": 3.0}
    assert waypoint.name == "shared"


def test_lines_without_a_name_become_waypoints_with_names_that_are_free() -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "first"))
    written(teaching, "G0 A1 B2 C3\nA2\nG91 A2 (by two)\nA0\nM2")
    names = [one.name for one in teaching.taught.waypoints.values()]
    assert names == ["waypoint 1", "waypoint 2", "by two", "waypoint 4"]
    angles = [one.angles_deg["turntable"] for one in teaching.taught.waypoints.values()]
    assert angles == [1, 2, 4, 4]


def test_name_that_is_found_for_a_line_is_not_that_of_a_later_one() -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "first"))
    written(teaching, "G0 A0 B0 C0\nG0 A10 B10 C10 (waypoint 1)\nM2")
    places = [
        teaching.taught.waypoints[visit.waypoint].angles_deg["turntable"]
        for visit in teaching.taught.sequences[1].visits
    ]
    assert places == [0, 10]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("G0 A1\nM2", [(1, 1, "B C is missing: no sequence depends on where the arm stands")]),
        ("G91 G0 A1 B1 C1\nM2", [(1, 5, "A B C is missing")]),
        ("G1 A1 B1 C1 F60\nM2", [(1, 1, "a sequence's moves are G0")]),
        ("G4 P1\nG0 A1 B1 C1\nM2", [(1, 4, "begins with a waypoint, not with a dwell")]),
        ("M3\nG0 A1 B1 C1\nM2", [(1, 1, "begins with a waypoint, not with an output")]),
        ("G0 A1 B1 C1\nG4 P1\nM3\nM2", [(3, 1, "outputs are switched before the dwell")]),
        ("G0 A1 B1 C1\nM0\nM2", [(2, 1, "a sequence has no pause M0")]),
        ("G0 A1 B1 C1 (x)\nA2 (X)\nM2", [(2, 1, "waypoint 'X' has other angles on line 1")]),
        ("G0 A1 B1 C171\nM2", [(1, 10, "elbow would go to 171°")]),
        ("G0 A1 B1 C1", [(1, 11, "without M2 or M30")]),
        ("G0 A1 B1 C1\nM2\nG0 A2\n", [(3, 1, "from here on nothing is read")]),
        (
            "G0 A1 B1 C1\nG4 P3000\nG4 P3000\nM2",
            [(3, 4, "dwells of 6000 s in one place, the limit")],
        ),
        ("G0 A1 B1 C1 (UNISONO, speed 0.000001)\nM2", [(1, 1, "a speed of 1e-06 %: 0.00001 is")]),
        ("<html>\n", [(1, 1, "'<' is no part of a word"), (1, 6, "M2")]),
        (f"G0 A1 B1 C1 ({'x' * 61})\nM2", [(1, 1, "the name has 61 characters, at most 60")]),
    ],
)
def test_what_no_sequence_can_be_is_told_with_its_line_and_column(
    text: str, found: list[tuple[int, int, str]]
) -> None:
    told = mistakes(text)
    assert [one[:2] for one in told][: len(found)] == [one[:2] for one in found][: len(told)]
    for one, expected in zip(told, found, strict=False):
        assert expected[2] in one[2]
    assert told


@given(st.text(max_size=200))
def test_no_text_breaks_the_reader(text: str) -> None:
    visits, problems = from_program(text, ARM)
    assert all(visit.angles_deg.keys() == {j.name for j in ARM.joints} for visit in visits)
    assert all(one.line >= 1 and one.column >= 1 for one in problems)


def test_waypoint_that_lacks_a_joint_of_the_arm_is_named() -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "old"))
    teaching.record(1, "tray")
    old = teaching.taught
    (waypoint,) = old.waypoints.values()
    fewer = Waypoint(waypoint.id, "tray", {"turntable": 1.0, "shoulder": 2.0})
    lacking = Taught({waypoint.id: fewer}, old.sequences)
    with pytest.raises(TaughtError, match="'tray' was taught without an angle of elbow"):
        to_program(sequence_of(lacking, 1), lacking, ARM)
