"""The words of a line by what they do: modal groups (NISTIR 6556 Table 4), joints and parameters.

The words are G0 G1 G4 G61 G61.1 G64 G80 G90 G91 G93 G94, F, P, M0 M1 M2 M3 M5 M8 M9 M30 M60, and
one letter for each joint of the arm, always in degrees. Any other word is an error.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from coordinator.config.problems import Problem
from coordinator.programs.standard import MEANINGS, refusal
from coordinator.programs.words import Line, Word

Group = tuple[str, int]
NON_MODAL: Final = ("G", 0)
MOTION: Final = ("G", 1)
DISTANCE: Final = ("G", 3)
FEED_MODE: Final = ("G", 5)
PATH_CONTROL: Final = ("G", 13)
STOPPING: Final = ("M", 4)
OUTPUTS: Final = (("M", 7), ("M", 8))
"""Of M words that switch a tool's outputs."""

_G_GROUPS: Final[dict[float, Group]] = {
    0: MOTION, 1: MOTION, 4: NON_MODAL, 61: PATH_CONTROL, 61.1: PATH_CONTROL, 64: PATH_CONTROL,
    80: MOTION, 90: DISTANCE, 91: DISTANCE, 93: FEED_MODE, 94: FEED_MODE,
}  # fmt: skip
_M_GROUPS: Final[dict[float, Group]] = {
    0: STOPPING, 1: STOPPING, 2: STOPPING, 3: OUTPUTS[0], 5: OUTPUTS[0], 8: OUTPUTS[1],
    9: OUTPUTS[1], 30: STOPPING, 60: STOPPING,
}  # fmt: skip
_NAMES: Final = {
    NON_MODAL: "non-modal words",
    MOTION: "motion",
    DISTANCE: "distance mode",
    FEED_MODE: "feed rate mode",
    PATH_CONTROL: "path control mode",
    STOPPING: "stopping",
    OUTPUTS[0]: "spindle turning",
    OUTPUTS[1]: "coolant",
}


@dataclass(slots=True)
class Sorted:
    """What could be sorted of one line."""

    codes: dict[Group, Word] = field(default_factory=dict)
    """G and M words by modal group."""
    words: dict[str, Word] = field(default_factory=dict)
    """The others by letter."""
    problems: list[Problem] = field(default_factory=list)
    """Words that are not understood."""
    obscure: set[str] = field(default_factory=set)
    """Letters of words that may be among what was not understood."""


def sort_words(line: Line, joints: Mapping[str, int]) -> Sorted:
    """Sort a line's words, for joints of these letters."""
    found = Sorted()
    strangers: list[Word] = []
    is_whole = True
    for word in line.words:
        if word.letter in "GM":
            is_whole &= _sort_code(line, word, found)
        elif word.letter in joints or word.letter in "FP":
            if found.words.setdefault(word.letter, word) is not word:
                _mistake(found, line, word, f"{word.letter} stands twice on this line")
        else:
            strangers.append(word)
    for word in strangers if is_whole else ():  # else they may belong to a G or M word
        told = f"{refusal(word.text, word.letter)}; the joints are {' '.join(joints)}"
        _mistake(found, line, word, told)
    return found


def _sort_code(line: Line, word: Word, found: Sorted) -> bool:
    """Put a G or M word into its modal group; False when it has none here."""
    groups = _G_GROUPS if word.letter == "G" else _M_GROUPS
    group = groups.get(word.value)
    if group is None:
        found.obscure.add(word.letter)
        code = f"{word.letter}{word.value:g}"
        told = refusal(word.text, code)
        if code not in MEANINGS:
            told += f"; there are {' '.join(f'{word.letter}{one:g}' for one in groups)}"
        _mistake(found, line, word, told)
        return False
    first = found.codes.setdefault(group, word)
    if first is not word:
        told = f"{word.text} and {first.text} are both of the group {_NAMES[group]}"
        _mistake(found, line, word, f"{told}; a line may hold one")
    return True


def _mistake(found: Sorted, line: Line, word: Word, message: str) -> None:
    found.problems.append(Problem(line.number, word.column, message))
