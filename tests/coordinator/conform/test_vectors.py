"""The questions for a program of the joint's maker, and how its answers are held to the vectors."""

import json
import sys
from collections import Counter
from pathlib import Path

import pytest

from coordinator.conform.check import Outcome, Result
from coordinator.conform.vectors.program import ask_program
from coordinator.conform.vectors.question import MAX_LINE_BYTES, near
from coordinator.conform.vectors.questions import questions, read

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs/conform.md").read_text()
ASKED = questions()


async def answered(folder: Path, fault: str = "") -> dict[str, Result]:
    """What this project's own functions answer, with a fault of the program's."""
    program = folder / "program"
    answerer = f"{sys.executable} -m tests.coordinator.conform.answerer"
    program.write_text(f"#!/bin/sh\ncd {ROOT}\nexec {answerer} '{fault}'\n")
    program.chmod(0o755)
    found = await ask_program(program, ASKED, lambda _: None)
    return {one.id: one for one in found}


def failed(results: dict[str, Result]) -> set[str]:
    return {one.id for one in results.values() if one.outcome is Outcome.FAIL}


def test_questions_are_short_plain_and_have_ids_of_their_own() -> None:
    assert len({one.id for one in ASKED}) == len(ASKED)
    for one in ASKED:
        text = one.line.decode()
        assert len(one.line) <= MAX_LINE_BYTES
        assert "\\" not in text
        if one.ask != "report":
            assert text.isascii()
            assert " " not in text.replace(one.id, "")
        value = json.loads(text, parse_float=lambda text: pytest.fail(f"{text} is not whole"))
        assert value["ask"] == one.ask


def test_page_lists_every_question_with_all_that_it_is_given() -> None:
    rows = {
        cells[0].strip(" `"): cells
        for line in PAGE.splitlines()
        if line.startswith("| `")
        for cells in [line.strip("|").split("|")]
    }
    given: dict[str, set[str]] = {}
    for one in ASKED:
        given.setdefault(one.ask, set()).update(one.given)
    del rows["ask"]
    assert set(rows) == set(given)
    for ask, names in given.items():
        assert all(f"`{name}`" in rows[ask][1] for name in names), ask


def test_every_file_of_vectors_that_a_joint_can_be_asked_is_asked() -> None:
    files = {path.stem for path in (ROOT / "protocol/vectors").glob("*.json")}
    # `cable.json` is of another page: a joint is asked it over its cable.
    assert {one.file.removesuffix(".json") for one in ASKED} == files - {"cable"}
    kinds = Counter(case["what"] for case in read("malformed")["cases"])
    asked = sum(one.id.startswith("malformed") for one in ASKED)
    assert asked == kinds.total() - kinds["status"] - kinds["welcome"] - kinds["report"]


async def test_own_functions_answer_every_question_rightly(tmp_path: Path) -> None:
    results = await answered(tmp_path)
    assert failed(results) == set()
    assert {one.outcome for one in results.values()} == {Outcome.PASS}
    assert len(results) == len(ASKED) + 1


@pytest.mark.parametrize(
    ("fault", "ask", "expected"),
    [
        ("a tag", "tag", "tag "),
        ("path time", "course", "path_us "),
        ("accepts", "points", "code frame-crc"),
    ],
)
async def test_wrong_answer_fails_that_question_and_no_other(
    tmp_path: Path, fault: str, ask: str, expected: str
) -> None:
    results = await answered(tmp_path, fault)
    found = failed(results)
    assert found
    asked = {one.id for one in ASKED if one.ask == ask}
    assert found <= asked
    if fault != "accepts":
        assert found == asked
    assert all(expected in results[name].expected for name in found)


async def test_what_a_program_cannot_answer_is_not_made_with_its_reason(tmp_path: Path) -> None:
    results = await answered(tmp_path, "whole numbers")
    unmade = [one for one in results.values() if one.outcome is Outcome.NOT_MADE]
    assert {one.why for one in unmade} == {"it computes in double precision"}
    assert len(unmade) == sum(one.ask.startswith("whole-") for one in ASKED)
    assert failed(results) == set()


@pytest.mark.parametrize(
    ("fault", "count", "came"),
    [
        ("ends", 20, "exit code 3"),
        ("another id", 5, "'keys tags 99'"),
        ("a long line", 5, "16384 bytes"),
    ],
)
async def test_program_that_cannot_be_asked_any_more_fails_there_and_the_rest_is_not_made(
    tmp_path: Path, fault: str, count: int, came: str
) -> None:
    results = await answered(tmp_path, fault)
    name = ASKED[count].id
    assert failed(results) == {name}
    assert came in results[name].came
    rest = [results[one.id] for one in ASKED[count + 1 :]]
    assert all(one.outcome is Outcome.NOT_MADE and one.is_blocked for one in rest)


async def test_line_that_is_no_json_fails_and_the_next_is_asked(tmp_path: Path) -> None:
    results = await answered(tmp_path, "no JSON")
    assert failed(results) == {ASKED[5].id}
    assert results[ASKED[5].id].came == "tag: 42\n"


async def test_exit_code_of_the_program_counts(tmp_path: Path) -> None:
    results = await answered(tmp_path, "exit code")
    assert failed(results) == {"program end"}
    assert results["program end"].came == "exit code 4"


def test_number_in_quotes_is_no_number() -> None:
    with pytest.raises(Exception, match="expected a number path_us"):
        near(path_us=(1.0, 0.5))({"path_us": "1"})
