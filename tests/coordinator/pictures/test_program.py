"""The picture of a program: XML that a browser reads, every joint against its limits, all marks."""

import xml.etree.ElementTree as ET
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion.curves import Curves, curves
from coordinator.motion.marks import CurveMark, MarkKind
from coordinator.pictures.program import COLUMNS, PANEL, program_picture
from coordinator.pictures.program_marks import MOST_TOLD
from coordinator.pictures.sheet import LEFT, RIGHT, WIDTH
from tests.bench.reversal import with_approach
from tests.coordinator.motion.test_plan import ARM

SVG = "{http://www.w3.org/2000/svg}"
ZERO = [0.0] * 6
TEXT = "G64 P1\nG1 A30 F3000\nA60 B10\nG0 A90\nM3\nG4 P0.5\nM5\nM0\nG0 A0 B0\nM2\n"


def drawn(text: str, program: str = "tray.nc") -> ET.Element:
    return ET.fromstring(program_picture(program, ARM.name, curves(text, ARM, ZERO)))


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def _place(at: str) -> tuple[float, float]:
    x, y = at.split(",")
    return float(x), float(y)


def outlines(root: ET.Element) -> list[list[tuple[float, float]]]:
    """Of the curves: three for each joint, angle, speed, acceleration."""
    return [
        [_place(at) for at in area.get("points", "").split()] for area in root.iter(f"{SVG}polygon")
    ]


def test_title_joints_and_figures_with_limits_stand_there_in_words() -> None:
    root = drawn("G0 A90\nM2\n")
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == "tray.nc on bench arm"
    found = texts(root)
    assert {joint.name for joint in ARM.joints} <= set(found)
    # 90° with v 60 °/s, 96 °/s² and 600 °/s³ take 1.5 + 0.625 + 0.16 s.
    assert "2.3 s at full speed from where the arm stands; pauses and waits take no time here" in (
        found
    )
    assert (
        "0° to 90°, range −170° to 170°; up to 60 of 60 °/s; "
        "up to 96 of 120 °/s², a plan may use 96"
    ) in found
    assert any("turns without end" in said for said in found)
    assert found.count("angle") == found.count("speed") == found.count("acceleration") == 6


def test_curves_reach_the_lines_of_what_limits_them() -> None:
    root = drawn("G0 A90\nM2\n")
    levels = [
        (float(line.get("y1", "")), "stroke-dasharray" in line.attrib)
        for line in root.iter(f"{SVG}line")
        if line.get("y1") == line.get("y2")
    ]
    _, speed, acceleration = ([y for _, y in outline] for outline in outlines(root)[:3])
    rests_at = max(speed)
    assert any(abs(y - min(speed)) <= 0.1 for y, dashed in levels if not dashed)  # 60 of 60 °/s
    assert any(abs(y - (2 * rests_at - min(speed))) <= 0.2 for y, dashed in levels if not dashed)
    # Dashed is what a plan may use, 96 °/s²; the limit is 120.
    highest, lowest = min(acceleration), max(acceleration)
    assert any(abs(y - highest) <= 0.15 for y, dashed in levels if dashed)
    assert any(abs(y - lowest) <= 0.15 for y, dashed in levels if dashed)
    middle = (highest + lowest) / 2
    limit = middle - (middle - highest) * 120 / 96
    assert any(abs(y - limit) <= 0.15 for y, dashed in levels if not dashed)


def test_lines_dwells_blends_outputs_and_pauses_are_drawn_and_told() -> None:
    root = drawn(TEXT)
    found = texts(root)
    assert {"2", "4", "9"} <= set(found)  # lines
    tips = [said for element in root.iter(f"{SVG}title") if (said := element.text or "")]
    for line, words in (
        (2, "passes its end without a stop"), (3, "passes its end without a stop"),
        (5, "gripper on"), (5, "waits for seedling_held to be on"), (6, "dwells for 0.5 s"),
        (7, "gripper off"), (8, "pauses until it is resumed"),
    ):  # fmt: skip
        assert any(tip.endswith(f"line {line}: {words}") for tip in tips), words
    for words in ("gripper on", "gripper off", "waits for seedling_held to be on"):
        assert any(said.endswith(words) for said in found), words


def test_marks_are_told_apart_by_their_shapes_and_nothing_by_a_colour() -> None:
    root = drawn(TEXT)
    assert len({shape.get("d") for shape in root.iter(f"{SVG}path")}) == 5
    colours = {
        value
        for element in root.iter()
        for name in ("fill", "stroke")
        if (value := element.get(name)) is not None
    }
    assert all(value[1:3] == value[3:5] == value[5:7] for value in colours), colours  # greys


def test_program_that_moves_nothing_is_drawn_at_rest() -> None:
    root = drawn("M2\n")
    assert "0.0 s at full speed from where the arm stands; pauses and waits take no time here" in (
        texts(root)
    )
    assert texts(root).count("none") == 4


def many(curves_of: Curves, count: int) -> Curves:
    marks = tuple(CurveMark(MarkKind.PAUSE, 0.0, 0.0, k + 1) for k in range(count))
    return replace(curves_of, marks=marks, more_marks={"pause": 7})


def test_marks_that_are_too_many_are_counted() -> None:
    picture = program_picture("t", "arm", many(curves("G0 A1\nM2\n", ARM, ZERO), MOST_TOLD + 2))
    found = texts(ET.fromstring(picture))
    assert "and 7 more, not drawn" in found
    assert "and 9 more" in found


def test_a_long_program_is_drawn_with_a_column_for_each_pixel_at_most() -> None:
    root = drawn("G0 A1\nG4 P12\nG0 A-90\nM2\n")
    assert max(map(len, outlines(root))) <= 2 * COLUMNS
    angle = outlines(root)[0]
    assert (min(x for x, _ in angle), max(x for x, _ in angle)) == (LEFT, RIGHT)
    assert max(y for _, y in angle) - min(y for _, y in angle) > 0.85 * PANEL


@given(
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=80),
    st.floats(0.0, 1e7),
)
def test_any_name_and_figures_make_a_picture_within_its_width(name: str, figure: float) -> None:
    base = curves("M2\n", ARM, ZERO)
    odd: dict[str, tuple[float, ...]] = dict.fromkeys(base.high_deg, (figure,))
    picture = program_picture(
        name, name, replace(base, high_deg=odd, high_deg_s=odd, high_deg_s2=odd, duration_s=figure)
    )
    root = ET.fromstring(picture)
    assert "nan" not in picture
    for outline in outlines(root):
        assert all(0.0 <= x <= WIDTH for x, _ in outline)


def test_overtravel_has_a_row_where_there_is_any() -> None:
    text = "G0 A20\nA10\nM2\n"
    sided = curves(text, with_approach(ARM, 1), [0.0] * 6)
    root = ET.fromstring(program_picture("t", "arm", sided))
    tips = [element.text or "" for element in root.iter(f"{SVG}title")]
    assert any(tip.endswith("line 2: overtravels and comes back in 0.30 s") for tip in tips)
    assert "overtravel" in texts(root)
    assert "overtravel" not in texts(drawn(text))
