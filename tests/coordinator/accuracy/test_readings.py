"""Tables that people type: what is read, and what is refused with its line."""

from math import degrees
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.accuracy.readings import read_pose, read_reversal
from coordinator.accuracy.table import ReadingsError
from coordinator.config.problems import MAX_PROBLEMS

ROWS = [f"30,{one},{value}" for one, value in [("below", 0.1), ("above", -0.1)] for _ in range(5)]
HEAD = "target_deg,from,deviation_deg"
COMMA = "; where a comma is the decimal point, semicolons must separate, in the head too"


def same_to(degrees_told: str) -> str:
    """What is remarked on readings that are all the same."""
    finer = f"a scatter that is finer than {degrees_told} deg"
    return f"{finer}, to which they were typed, is not seen"


def write(folder: Path, text: str) -> Path:
    file = folder / "readings.csv"
    file.write_text(text, encoding="utf-8")
    return file


def refusal(folder: Path, text: str, radius_mm: float | None = None) -> str:
    with pytest.raises(ReadingsError) as caught:
        read_reversal(write(folder, text), 5, radius_mm)
    return str(caught.value).replace(str(folder / "readings.csv"), "FILE")


def pose_refusal(folder: Path, text: str) -> str:
    with pytest.raises(ReadingsError) as caught:
        read_pose(write(folder, text), 2)
    return str(caught.value).replace(str(folder / "readings.csv"), "FILE")


@pytest.mark.parametrize(
    ("head", "values", "unit", "expected"),
    [
        ("angle_arcmin", ["6", "-3"], "deg", [(0.1,), (-0.05,)]),
        ("x_um,y_um", ["10,20", "-20,10"], "mm", [(0.01, 0.02), (-0.02, 0.01)]),
        ("x_mm,y_mm,z_mm", ["1,2,3", "0,0,0"], "mm", [(1, 2, 3), (0, 0, 0)]),
    ],
)
def test_pose_readings_are_told_in_one_unit(
    tmp_path: Path, head: str, values: list[str], unit: str, expected: list[tuple[float, ...]]
) -> None:
    found = read_pose(write(tmp_path, "\n".join([head, *values])), 2)

    assert found.unit == unit
    for one, other in zip(found.deviations, expected, strict=True):
        assert one == pytest.approx(other)


def test_semicolons_and_a_decimal_comma_are_read_as_a_spreadsheet_writes_them(
    tmp_path: Path,
) -> None:
    found = read_pose(write(tmp_path, "\ufeffx_mm;y_mm\r\n0,25;-1,5\r\n0,5;0\r\n"), 2)

    assert found.deviations == ((0.25, -1.5), (0.5, 0.0))


def test_a_gauge_at_a_radius_reads_angles(tmp_path: Path) -> None:
    rows = [row.replace("0.1", "100") for row in ROWS]
    text = "\n".join(["target_deg,from,deviation_um", *rows])
    found = read_reversal(write(tmp_path, text), 5, 50.0).reversal

    # An arc of 0.1 mm at 50 mm is 2 mrad.
    assert found.largest.below.mean == pytest.approx(degrees(0.1 / 50.0))
    assert found.largest.reversal == pytest.approx(degrees(0.2 / 50.0))


def test_targets_stand_in_the_order_of_their_angles(tmp_path: Path) -> None:
    rows = [row.replace("30,", f"{at},", 1) for at in (90, -45, 0) for row in ROWS]
    found = read_reversal(write(tmp_path, "\n".join([HEAD, *rows])), 5, None).reversal

    assert [target.at for target in found.targets] == [-45.0, 0.0, 90.0]


def test_three_readings_where_five_are_needed_give_no_figure(tmp_path: Path) -> None:
    text = "\n".join([HEAD, *ROWS[:8]])

    assert refusal(tmp_path, text) == (
        "FILE:1: target 30 deg has 3 readings from above where 5 are needed"
    )


def test_a_reading_in_another_unit_than_its_head_says_is_refused_with_its_line(
    tmp_path: Path,
) -> None:
    text = "\n".join([HEAD, *ROWS, "30,below,120"])

    assert refusal(tmp_path, text) == (
        "FILE:12: deviation_deg is 120, which is 120 deg; a deviation is at most 10 deg: does the "
        "head name the right unit?"
    )


def test_of_many_mistakes_the_first_are_told_with_their_lines_and_how_many_more(
    tmp_path: Path,
) -> None:
    rows = ["30,left,x"] * 200  # two in each
    told = refusal(tmp_path, "\n".join([HEAD, *rows])).splitlines()

    assert len(told) == MAX_PROBLEMS + 1
    assert told[0].startswith("FILE:2: ")
    assert told[-2].startswith("FILE:51: ")
    assert told[-1] == "FILE:52: from here on there are 300 more mistakes"


def test_a_quote_that_is_never_closed_is_told_where_it_begins(tmp_path: Path) -> None:
    text = "\n".join([HEAD, *ROWS, "", '"30,below,0.1', *ROWS])

    assert refusal(tmp_path, text) == (
        "FILE:13: a quote is opened and never closed: '\"30,below,0.1'"
    )


def test_a_quote_that_is_not_closed_at_the_very_end_is_told_too(tmp_path: Path) -> None:
    text = "\n".join([HEAD, *ROWS, '30,below,"0.1'])

    assert refusal(tmp_path, text) == "FILE:12: a quote is opened and never closed: '\"0.1'"


def test_a_quote_that_is_closed_on_a_later_line_is_told_where_it_begins(tmp_path: Path) -> None:
    text = "\n".join([HEAD, *ROWS, '30,below,"0.1', *ROWS[:3], '30,above,"0.1"'])

    assert refusal(tmp_path, text).startswith(
        "FILE:12: a quote is opened and closed only on line 16: '\"0.1'"
    )


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (
            "30,below,0,1",
            f"4 cells, the head has 3: '30,below,0,1'{COMMA}",
        ),
        (
            "30;below;0,1",
            f"2 cells, the head has 3: '30;below;0,1'{COMMA}",
        ),
        (
            '30,below,"0,1"',
            f"deviation_deg is '0,1', not a number{COMMA}",
        ),
    ],
)
def test_a_decimal_comma_in_a_table_of_commas_is_told_with_the_way_to_have_one(
    tmp_path: Path, row: str, why: str
) -> None:
    assert refusal(tmp_path, "\n".join([HEAD, *ROWS, row])) == f"FILE:12: {why}"


def test_a_target_beyond_the_range_of_the_joint_is_told_with_its_line(tmp_path: Path) -> None:
    rows = [row.replace("30,", "95,", 1) for row in ROWS]
    file = write(tmp_path, "\n".join([HEAD, *ROWS, *rows]))
    with pytest.raises(ReadingsError) as caught:
        read_reversal(file, 5, None, (-90.0, 90.0))
    first, *others = str(caught.value).splitlines()
    assert first.endswith(
        "readings.csv:12: target_deg is 95, and the joint's range is from -90 to 90: is this its "
        "table?"
    )
    assert len(others) == 9
    assert read_reversal(file, 5, None, (-90.0, 95.0)).reversal.targets[1].at == 95.0


@pytest.mark.parametrize(
    ("head", "values", "expected"),
    [
        ("angle_deg", ["0.1", "0.25"], 0.01),
        ("angle_arcmin", ["6", "3"], 1 / 60),
        ("x_um,y_um", ["10,20.5", "20,10"], 1e-3),  # of its coarsest column
        ("angle_deg", ["1e-1", "2e-1"], 0.1),
        ("angle_deg", ["0e5000000", "1"], 1.0),
        ("angle_deg", ["1e-5000000", "1"], 0.0),
    ],
)
def test_readings_resolve_what_their_last_digit_does(
    tmp_path: Path, head: str, values: list[str], expected: float
) -> None:
    found = read_pose(write(tmp_path, "\n".join([head, *values])), 2)
    assert found.resolution == pytest.approx(expected)


def test_readings_that_are_all_the_same_are_remarked(tmp_path: Path) -> None:
    told = read_pose(write(tmp_path, "\n".join(["angle_deg", *["0.25"] * 12])), 2).remarks
    assert told == (f"all 12 readings are the same: {same_to('0.01')}",)
    found = read_reversal(write(tmp_path, "\n".join([HEAD, *ROWS, "30,above,-0.2"])), 5, None)
    assert found.reversal.largest.resolution == pytest.approx(0.1)
    which = "the 5 readings at 30 deg from below are all the same"
    assert found.remarks == (f"{which}: {same_to('0.1')}",)


def test_a_cell_that_is_longer_than_any_reading_is_told(tmp_path: Path) -> None:
    text = "\n".join([HEAD, *ROWS, "30,below," + "1" * 200_000])

    assert refusal(tmp_path, text) == "FILE:12: it has a cell of more than 131072 characters"


def test_lines_are_counted_as_an_editor_counts_them(tmp_path: Path) -> None:
    text = "\n".join([HEAD, "30,below,0.1\x0c", *ROWS, "30,left,0"])

    assert refusal(tmp_path, text) == "FILE:13: from is 'left', not one of below above"


def test_of_many_likely_slips_the_first_are_told_and_how_many_more(tmp_path: Path) -> None:
    usual, slips = [f"0.{k % 3 + 1}" for k in range(600)], ["9"] * 150
    remarks = read_pose(write(tmp_path, "\n".join(["angle_deg", *usual, *slips])), 2).remarks

    assert len(remarks) == MAX_PROBLEMS + 1
    assert remarks[0].removeprefix(str(tmp_path)).startswith("/readings.csv:602: 9 deg lies ")
    assert remarks[-1].endswith(":702: from here on there are 50 more likely slips")


def test_a_slip_of_the_hand_is_remarked_and_not_dropped(tmp_path: Path) -> None:
    rows = [f"30,{one},{0.1 + k / 1000}" for one in ("below", "above") for k in range(6)]
    found = read_reversal(write(tmp_path, "\n".join([HEAD, *rows, "30,below,1.03"])), 5, None)

    [remark] = found.remarks
    assert remark.removeprefix(str(tmp_path)).startswith("/readings.csv:14: 1.03 deg lies ")
    assert found.reversal.largest.below.count == 7


@pytest.mark.parametrize(
    ("text", "radius_mm", "why"),
    [
        ("", None, "FILE:1: there is nothing in it"),
        (HEAD, None, "FILE:1: there are no readings in it"),
        ("target_deg,from", None, "FILE:1: the head is 'target_deg,from', but must have"),
        (f"{HEAD}_x", None, "the unit of deviation_deg_x must be one of deg arcmin arcsec mm um"),
        ("target_deg,from,error_deg", None, "but must have target_deg, from and deviation_UNIT"),
        ("target_deg,from,deviation_um", None, "--radius-mm must say how far from the axis"),
        (HEAD, 50.0, "deviation_deg is an angle: a radius says nothing of it"),
        (f"{HEAD}\n30,left,0.1", None, "FILE:2: from is 'left', not one of below above"),
        (f"{HEAD}\n30,below", None, "FILE:2: 2 cells, the head has 3"),
        (f"{HEAD}\n30,below,nan", None, "FILE:2: deviation_deg is 'nan', not a number"),
        (f"{HEAD}\nx,below,0", None, "FILE:2: target_deg is 'x', not a number"),
    ],
)
def test_what_is_wrong_with_a_table_is_told(
    tmp_path: Path, text: str, radius_mm: float | None, why: str
) -> None:
    assert why in refusal(tmp_path, text, radius_mm)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("z_mm\n1\n2", "the head is 'z_mm', but must be angle_UNIT, or x_UNIT"),
        ("x_mm,y_um\n1,1\n2,2", "its unit must be one of mm um, the same in every column"),
        ("x_deg\n1\n2", "its unit must be one of mm um"),
        ("angle_deg\n1", "FILE:1: 1 readings where 2 are needed"),
        ("angle_deg\n1\n\n11\n", "FILE:4: angle_deg is 11, which is 11 deg; a deviation is at"),
    ],
)
def test_what_is_wrong_with_readings_at_a_pose_is_told(tmp_path: Path, text: str, why: str) -> None:
    assert why in pose_refusal(tmp_path, text)


def test_a_file_that_is_no_text_or_is_not_there_is_told(tmp_path: Path) -> None:
    picture = tmp_path / "readings.csv"
    picture.write_bytes(b"\xff\xd8\xff")
    with pytest.raises(ReadingsError, match="it is not UTF-8 text"):
        read_pose(picture, 2)
    with pytest.raises(ReadingsError, match="cannot be read: No such file"):
        read_pose(tmp_path / "none.csv", 2)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_a_line(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    file = tmp_path_factory.getbasetemp() / "any.csv"
    file.write_text(text, encoding="utf-8", errors="ignore")
    # A text that happens to be a table of five readings a side is not found by chance.
    with pytest.raises(ReadingsError) as caught:
        read_reversal(file, 5, None)
    assert all(one.line is not None for one in caught.value.mistakes)
