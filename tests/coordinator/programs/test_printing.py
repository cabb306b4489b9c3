"""Programs printed and read again."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.programs import (
    Dwell,
    End,
    Move,
    Output,
    PathControl,
    Pause,
    Step,
    Target,
    parse_program,
    print_program,
)

LETTERS = {"A": "turntable", "B": "shoulder", "E": "wrist"}  # E could be read as an exponent


def shape(step: Step) -> Step:
    """A step without where it stands; the time of a G93 move to 15 digits."""
    match step:
        case Move():
            targets = tuple(replace(target, column=0) for target in step.targets)
            nominal = None if step.nominal_s is None else float(f"{step.nominal_s:.14e}")
            return replace(step, line=0, column=0, targets=targets, nominal_s=nominal)
        case Dwell() | Output():
            return replace(step, line=0, column=0)
        case _:
            return replace(step, line=0)


def again(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    text = print_program(steps, tuple(LETTERS))
    return tuple(map(shape, parse_program(text, LETTERS).steps))


DEGREES = st.one_of(st.floats(-1e6, -1e-9), st.just(0.0), st.floats(1e-9, 1e6))
ABOVE_0 = st.floats(1e-6, 1e9)
TARGETS = st.lists(
    st.builds(Target, st.integers(0, 2), DEGREES, st.just(0)),
    min_size=1,
    unique_by=lambda one: one.joint,
).map(tuple)
COMMENTS = st.text(
    st.characters(categories=("L", "N", "P", "S"), exclude_characters="()"), max_size=20
)
PATHS = st.one_of(
    st.sampled_from([(mode, None) for mode in PathControl]),
    st.floats(1e-9, 45.0).map(lambda p: (PathControl.CONTINUOUS, p)),
)
PACES = st.one_of(
    ABOVE_0.map(lambda feed: (feed, None, 1.0)),
    ABOVE_0.map(lambda feed: (None, 60.0 / feed, 1.0)),
    st.floats(1e-6, 1.0).map(lambda share: (None, None, share)),
    st.just((None, None, 1.0)),
)
"""F of G94, time of G93, share of G0."""


@st.composite
def moves(draw: st.DrawFn) -> Move:
    path_control, tolerance_deg = draw(PATHS)
    feed_deg_min, nominal_s, share = draw(PACES)
    return Move(
        line=0,
        column=0,
        targets=draw(TARGETS),
        relative=draw(st.booleans()),
        rapid=feed_deg_min is None and nominal_s is None,
        feed_deg_min=feed_deg_min,
        nominal_s=nominal_s,
        share=share,
        path_control=path_control,
        tolerance_deg=tolerance_deg,
        comment=draw(COMMENTS).strip(),
    )


STEPS = st.one_of(
    moves(),
    st.one_of(st.just(0.0), ABOVE_0).map(lambda seconds: Dwell(0, 0, seconds)),
    st.sampled_from(["M3", "M5", "M8", "M9"]).map(lambda word: Output(0, 0, word)),
    st.booleans().map(lambda optional: Pause(0, optional)),
)


@given(st.lists(STEPS, max_size=8))
def test_what_is_printed_reads_as_the_same_steps(steps: list[Step]) -> None:
    whole = (*steps, End(0))
    assert again(whole) == tuple(map(shape, whole))


def test_a_printed_program_names_a_mode_only_where_it_changes() -> None:
    text = (
        "G90 G94 G0 A1 B-2.50 (far)\nA2\nG64\nG1 A3 F600\nG91 A1 F600 G64 P2\nM1\nG93 A1 F2\n"
        "G4 P.5\nM60\nG0 A0 (UNISONO, speed 2.50)\nG94 G1 A1 F9\nM3\nM30"
    )
    program = parse_program(text, LETTERS)
    assert print_program(program.steps, tuple(LETTERS), "to the tray").splitlines() == [
        "(to the tray)", "G90 G94", "G0 A1 B-2.5 (far)", "G0 A2", "G64", "G1 A3 F600",
        "G64 P2", "G91", "G1 A1 F600", "M1", "G93", "G1 A1 F2", "G4 P0.5", "M0",
        "G0 A0 (UNISONO, speed 2.5)", "G94", "G1 A1 F9", "M3", "M2",
    ]  # fmt: skip


def test_a_move_that_no_line_has_room_for_is_not_printed() -> None:
    move = Move(0, 0, (Target(0, 1e300, 0),), relative=False, rapid=True)
    with pytest.raises(ValueError, match="has 305 characters, of 256"):
        print_program([move], ("A",))
