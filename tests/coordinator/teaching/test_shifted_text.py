"""Programs shifted joint by joint, in their own words."""

from hypothesis import given
from hypothesis import strategies as st

from coordinator.programs import Move, read_program
from coordinator.teaching.shifted_text import shifted_text
from tests.coordinator.teaching.kit import ARM

OFFSETS = {"turntable": 0.4, "elbow": -2.0}
ANGLES = st.decimals(-90, 90, places=3)


def targets(text: str) -> list[tuple[int, int, float, bool]]:
    """Line, joint, degrees and whether they are a distance, word by word."""
    program, problems = read_program(text, ARM.letters)
    assert problems.count == 0
    return [
        (step.line, target.joint, target.degrees, step.relative)
        for step in program.steps
        if isinstance(step, Move)
        for target in step.targets
    ]


def test_absolute_angles_shift_and_all_else_stays_as_it_was_written() -> None:
    text = (
        "%\r\n(above A1)  \r\n"
        "N10 g0 a10 B-20c +30.50 (C30)\r\n/G1 F600 A 1 . 5\r\nG91 A5 C5\r\nG90 C0\r\nM2\r\n%\r\nA7"
    )
    found = shifted_text(text, ARM, OFFSETS)
    assert found.mistakes == found.problems == ()
    assert found.text == (
        "%\r\n(above A1)  \r\n"
        "N10 g0 a10.4 B-20c28.5 (C30)\r\n/G1 F600 A1.9\r\nG91 A5 C5\r\nG90 C-2\r\nM2\r\n%\r\nA7"
    )


@given(
    st.lists(st.tuples(ANGLES, ANGLES, ANGLES, st.booleans()), min_size=1, max_size=8),
    st.fixed_dictionaries({joint.name: st.decimals(-40, 40, places=5) for joint in ARM.joints}),
)
def test_every_absolute_angle_has_moved_by_its_offset_and_back_is_the_identity(
    moves: list[tuple[object, object, object, bool]], offsets: dict[str, object]
) -> None:
    lines = [
        f"{'G91' if relative else 'G90'} G0 A{a} B{b} C{c} (place {k})"
        for k, (a, b, c, relative) in enumerate(moves)
    ]
    text = "\n".join([*lines, "M2", ""])
    by = {name: float(str(offset)) for name, offset in offsets.items()}
    there = shifted_text(text, ARM, by)
    before, after = targets(text), targets(there.text)
    for (line, joint, degrees, relative), now in zip(before, after, strict=True):
        moved = degrees if relative else degrees + by[ARM.joints[joint].name]
        assert now == (line, joint, round(moved, 5), relative)
    back = shifted_text(there.text, ARM, {name: -offset for name, offset in by.items()})
    assert targets(back.text) == before


def test_program_with_mistakes_is_left_as_it_is_and_they_are_told() -> None:
    found = shifted_text("G0 A1\nG2 X1\nM2\n", ARM, OFFSETS)
    assert found.text == "G0 A1\nG2 X1\nM2\n"
    assert [one.line for one in found.mistakes] == [2]


def test_lines_that_would_leave_a_range_or_become_too_long_are_told_and_others_are_not() -> None:
    long = "G0 A1 (" + "x" * (256 - len("G0 A1 ()")) + ")"
    text = f"G0 A169.8\nG0 A1\n{long}\nG0 A500\nM2\n"
    found = shifted_text(text, ARM, OFFSETS)
    assert [one.line for one in found.problems] == [1, 3]
    assert "turntable would go to 170.2°" in found.problems[0].message
    assert "258 characters" in found.problems[1].message
