"""An arm file's text in somebody's hands: its mistakes, and what it would change."""

from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path
from typing import Final

from coordinator.config.arm import ArmFileError, parse_arm
from coordinator.config.mistake import Mistake
from coordinator.config.problems import MAX_PROBLEMS

MAX_EDITED: Final = 100_000
"""Characters of a text that is looked at while it is typed: ten times what twelve joints need, and
few enough that the arm's loop does not feel it."""


@dataclass(frozen=True, slots=True)
class ArmTextMistake:
    """One mistake and its line, from 1."""

    line: int
    message: str


@dataclass(frozen=True, slots=True)
class ChangedRow:
    """A line that would go or come; `line` is its number in the old or the new text."""

    added: bool
    line: int
    text: str


@dataclass(frozen=True, slots=True)
class ArmTextLookedAt:
    """What is wrong with a text, and what it would change."""

    mistakes: tuple[ArmTextMistake, ...]
    """In the order of the text, the first hundred."""
    more_mistakes: int
    """How many more there are."""
    remarks: tuple[str, ...]
    """What is no mistake, but may not be meant: sentences with their line."""
    changes: tuple[ChangedRow, ...]
    """Against what is on the disk, in order; none where the text has mistakes."""


def look_at(text: str, path: Path, old: str) -> ArmTextLookedAt:
    """What is wrong with a text for the file at `path`, and what it changes of the `old` one."""
    try:
        arm = parse_arm(text, path)
    except ArmFileError as error:
        told = tuple(map(_with_line, error.mistakes[:MAX_PROBLEMS]))
        return ArmTextLookedAt(told, len(error.mistakes) - len(told), (), ())
    return ArmTextLookedAt((), 0, arm.remarks, changes(old, text))


def changes(old: str, new: str) -> tuple[ChangedRow, ...]:
    """Which lines go and which come, those that go first where they are in one place."""
    before, after = old.splitlines(), new.splitlines()
    found: list[ChangedRow] = []
    for kind, from_old, to_old, from_new, to_new in SequenceMatcher(
        None, before, after
    ).get_opcodes():
        if kind != "equal":
            gone = enumerate(before[from_old:to_old], from_old + 1)
            come = enumerate(after[from_new:to_new], from_new + 1)
            found += [ChangedRow(added=False, line=k, text=line) for k, line in gone]
            found += [ChangedRow(added=True, line=k, text=line) for k, line in come]
    return tuple(found)


def with_line_ends_of(old: str, text: str) -> str:
    """A text as it was typed, with CRLF ends where all ends of the `old` one are: a browser's field
    knows none but LF.
    """
    is_crlf = "\r\n" in old and old.count("\r\n") == old.count("\n")
    return text.replace("\n", "\r\n") if is_crlf and "\r" not in text else text


def _with_line(mistake: Mistake) -> ArmTextMistake:
    return ArmTextMistake(mistake.line or 1, mistake.message)
