"""The letters of joints, given in a program's head."""

import pytest

from coordinator.config.joint import DEFAULT_WORDS, SPARE_WORDS
from coordinator.programs import Move, parse_program
from coordinator.programs.head import RESERVED_LETTERS
from tests.coordinator.programs.test_errors import mistakes_of

LETTERS = {"A": "turntable", "B": "shoulder", "C": "elbow"}
SWAP = "(UNISONO, A shoulder)(UNISONO, B turntable)"


def joints(text: str) -> list[list[int]]:
    program = parse_program(text + "\nM2", LETTERS)
    return [
        [target.joint for target in step.targets]
        for step in program.steps
        if isinstance(step, Move)
    ]


def test_letters_are_those_of_the_arm_file_unless_the_head_gives_others() -> None:
    assert joints("G0 A1 B2 C3") == [[0, 1, 2]]
    assert joints("(UNISONO, X turntable)\nG0 X1 B2") == [[0, 1]]
    assert joints(f"{SWAP}\nG90 F60 M3\nG0 A1 B2 C3") == [[1, 0, 2]]
    assert joints("(unisono,x\tturntable )(and so on)\nG0 X1") == [[0]]


def test_a_program_knows_the_letters_that_it_uses_base_to_tool() -> None:
    assert parse_program("M2", LETTERS).letters == ("A", "B", "C")
    assert parse_program(f"{SWAP}(UNISONO, Z elbow)\nM2", LETTERS).letters == ("B", "A", "Z")


def test_a_letter_of_the_arm_file_is_free_once_its_joint_has_another() -> None:
    assert joints("(UNISONO, B turntable)\n(UNISONO, A shoulder)\nG0 B5") == [[0]]
    assert mistakes_of("(UNISONO, X turntable)\nG0 A1", LETTERS)[0][:2] == (2, 4)


def test_the_same_letter_as_in_the_arm_file_may_be_said() -> None:
    assert joints("(UNISONO, A turntable)\nG0 A1") == [[0]]


def test_letters_on_a_deleted_line_count_only_if_it_is_executed() -> None:
    text = "/(UNISONO, X turntable)\n/G0 X1\nG0 B1\nM2"
    assert len(parse_program(text, LETTERS).steps) == 3
    assert parse_program(text, LETTERS, block_delete=True).letters == ("A", "B", "C")


def test_reserved_letters_are_those_that_no_arm_file_can_give() -> None:
    assert set(RESERVED_LETTERS) | set(DEFAULT_WORDS) | set(SPARE_WORDS) == {
        chr(code) for code in range(ord("A"), ord("Z") + 1)
    }
    assert RESERVED_LETTERS == "FGMNOPST"


@pytest.mark.parametrize("before", ["G90", "M3", "G4 P1", "F60", "M0", "G64 P1", "(x)", "G80"])
def test_what_moves_no_joint_ends_no_head(before: str) -> None:
    assert joints(f"{before}\n(UNISONO, X turntable)\nG0 X1") == [[0]]


def test_a_word_that_is_refused_is_no_first_motion() -> None:
    found = mistakes_of("T1\n(UNISONO, X turntable)\nG0 X1\nM2", LETTERS)
    assert [(line, column) for line, column, _ in found] == [(1, 1)]
