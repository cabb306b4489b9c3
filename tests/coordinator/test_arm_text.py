"""A text for the arm file: the same mistakes as the command line's, and what it would change."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.arm import ArmFileError, parse_arm
from coordinator.config.arm_text import changes, look_at, with_line_ends_of
from coordinator.config.settings import DEMO_ARM

TEXT = DEMO_ARM.read_text(encoding="utf-8")
PATH = Path("arm.toml")
LINES = st.lists(st.sampled_from(["a", "b", "", "# a comment", "c = 1"]), max_size=12)


@pytest.mark.parametrize(
    "text",
    [
        TEXT.replace("gear_ratio = 20.0", "gear_ratio = 0"),
        TEXT.replace("park = {", "park = {,"),
        TEXT.replace("range_deg = [-95, 95]", "range = [-95, 95]"),
        "",
        "\ufeff" + TEXT,
    ],
)
def test_its_mistakes_are_those_of_the_command_line(text: str) -> None:
    with pytest.raises(ArmFileError) as caught:
        parse_arm(text, PATH)
    looked = look_at(text, PATH, TEXT)
    assert [f"arm.toml:{one.line}: {one.message}" for one in looked.mistakes] == [
        *caught.value.sentences
    ]
    assert (looked.changes, looked.more_mistakes) == ((), 0)


def test_no_more_than_a_hundred_mistakes_are_told_and_the_others_counted() -> None:
    looked = look_at(TEXT + "".join(f"unknown{k} = 1\n" for k in range(130)), PATH, TEXT)
    assert (len(looked.mistakes), looked.more_mistakes) == (100, 30)


def test_what_would_go_and_come_is_told_line_by_line() -> None:
    text = TEXT.replace("gear_ratio = 10.0", "gear_ratio = 12.0  # counted, 2 May")
    looked = look_at(text, PATH, TEXT)
    line = next(k for k, one in enumerate(TEXT.splitlines(), 1) if one == "gear_ratio = 10.0")
    assert [(one.added, one.line, one.text) for one in looked.changes] == [
        (False, line, "gear_ratio = 10.0"),
        (True, line, "gear_ratio = 12.0  # counted, 2 May"),
    ]
    assert look_at(TEXT, PATH, TEXT).changes == ()


@given(LINES, LINES)
def test_the_changes_make_the_one_text_of_the_other(old: list[str], new: list[str]) -> None:
    rows = changes("\n".join(old), "\n".join(new))
    before, after = "\n".join(old).splitlines(), "\n".join(new).splitlines()
    gone = {row.line for row in rows if not row.added}
    come = {row.line for row in rows if row.added}
    kept = [line for k, line in enumerate(before, 1) if k not in gone]
    assert kept == [line for k, line in enumerate(after, 1) if k not in come]
    assert all(before[row.line - 1] == row.text for row in rows if not row.added)
    assert all(after[row.line - 1] == row.text for row in rows if row.added)


def test_line_ends_of_the_file_stay_though_a_browser_knows_one_kind() -> None:
    assert with_line_ends_of("a\r\nb\r\n", "a\nc\n") == "a\r\nc\r\n"
    assert with_line_ends_of("a\nb\r\n", "a\nc\n") == "a\nc\n"
    assert with_line_ends_of("a\nb\n", "a\r\nc\n") == "a\r\nc\n"
    assert with_line_ends_of("", "a\n") == "a\n"
