"""From words to steps: the RS-274/NGC language of this project (NISTIR 6556).

The words are G0 G1 G4 G90 G91 G93 G94, F, P, M0 M2 M30, N, and one letter for each joint of the
arm, always in degrees. Any other word is an error. A program begins in G90 and G94, without a
motion mode and without a feed rate.

A mistake is told once: what is missing on a line that was not understood may be what was not
understood, and what a mode lacks is told where it lacks it first.

Execution on one line follows Table 8 of the standard: feed mode, feed rate, dwell, distance
mode, motion, stop.
"""

from collections.abc import Sequence
from typing import Final

from coordinator.programs.problems import Problem, ProgramError
from coordinator.programs.steps import Dwell, End, Move, Pause, Program, Step, Target
from coordinator.programs.words import Line, Word, program_lines, split_lines, unread_line

# Modal groups (NISTIR 6556 Table 4), as far as their words are known here.
_G_GROUPS: Final = {0: 1, 1: 1, 4: 0, 90: 3, 91: 3, 93: 5, 94: 5}
_M_GROUPS: Final = {0: 4, 2: 4, 30: 4}
_TOOL_CODES: Final = frozenset({3, 5, 8, 9})
"""M words of the standard that switch a tool's outputs."""
_GROUP_NAMES: Final = {
    ("G", 0): "non-modal words",
    ("G", 1): "motion",
    ("G", 3): "distance mode",
    ("G", 5): "feed rate mode",
    ("M", 4): "stopping",
}
RESERVED_LETTERS: Final = frozenset("FGMNP")
"""Letters that no joint can have."""


def parse_program(text: str, letters: Sequence[str], *, block_delete: bool = False) -> Program:
    """The program in a text. Raises ProgramError with all its mistakes, and nothing else.

    `letters` are the joints' letters, base to tool. With `block_delete`, lines that begin with a
    slash are left out, unread. Pure: the same text gives the same program.
    """
    program, problems = read_program(text, letters, block_delete=block_delete)
    if problems:
        raise ProgramError(problems)
    return program


def read_program(
    text: str, letters: Sequence[str], *, block_delete: bool = False
) -> tuple[Program, tuple[Problem, ...]]:
    """What can be read of a text, and all its mistakes, in file order.

    A program with mistakes is fit for further checks only, not for execution.
    """
    interpreter = _Interpreter(letters)
    unread = None
    for line in program_lines(text):
        if line.closes:
            interpreter.steps.append(End(line.number))
        elif not (line.deletable and block_delete):
            interpreter.execute(line)
        if interpreter.has_ended:
            unread = unread_line(text, line.number)
            break
    else:
        interpreter.complain_of_missing_end(text)
    return Program(tuple(interpreter.steps), unread), tuple(sorted(interpreter.problems))


class _Interpreter:
    """The modal state, and what executing line after line in it has given."""

    def __init__(self, letters: Sequence[str]) -> None:
        clash = RESERVED_LETTERS.intersection(letters)
        if clash or len(set(letters)) < len(letters):
            raise ValueError(f"joint letters {' '.join(letters)} are not distinct and free")
        self.letters = {letter: joint for joint, letter in enumerate(letters)}
        self.steps: list[Step] = []
        self.problems: list[Problem] = []
        self.motion: int | None = None
        self.is_relative = False
        self.is_inverse_time = False
        self.feed: float | None = None
        self.is_understood = True
        """Every word of the line at hand."""
        self.obscure: set[str] = set()
        """Letters of words that may be among what was not understood on the line at hand."""
        self.may_lack_end = True
        self.may_lack_motion = True
        self.may_lack_feed = True
        """Whether lacking it would be told: not once it was, nor where it may have been obscure."""

    @property
    def has_ended(self) -> bool:
        return bool(self.steps) and isinstance(self.steps[-1], End)

    def complain_of_missing_end(self, text: str) -> None:
        if not self.may_lack_end:
            return
        lines = split_lines(text)
        last = max((k for k, line in enumerate(lines) if line.strip()), default=0)
        message = (
            "the program ends without M2 or M30, and without standing between two lines with %"
        )
        self.problems.append(Problem(last + 1, max(1, len(lines[last].rstrip())), message))

    def execute(self, line: Line) -> None:
        """One line, in the order of Table 8."""
        self.problems += line.problems
        self.is_understood = not line.problems
        self.obscure = set("GMF") if line.problems else set()
        codes, words = self._sort(line)
        self._set_feed_mode(codes.get(("G", 5)))
        self._set_feed(line, words.get("F"))
        self._dwell(line, codes.get(("G", 0)), words.get("P"))
        self._set_distance_mode(codes.get(("G", 3)))
        self._move(line, codes.get(("G", 1)), words)
        self._stop(line, codes.get(("M", 4)))
        if "G" in self.obscure:
            self.may_lack_motion = False
        if "F" in self.obscure:
            self.may_lack_feed = False
        if line.words or line.problems:
            self.may_lack_end = "M" not in self.obscure

    def _problem(self, line: int, word: Word, message: str) -> None:
        self.problems.append(Problem(line, word.column, message))

    def _mistake(self, line: Line, word: Word, message: str) -> None:
        """A word that is not understood."""
        self.is_understood = False
        self._problem(line.number, word, message)

    def _lack(self, line: Line, word: Word, message: str) -> None:
        """Something is missing, unless it is among what was not understood."""
        if self.is_understood:
            self._problem(line.number, word, message)

    def _sort(self, line: Line) -> tuple[dict[tuple[str, int], Word], dict[str, Word]]:
        """The line's G and M words by modal group, and the others by letter."""
        codes: dict[tuple[str, int], Word] = {}
        words: dict[str, Word] = {}
        strangers: list[Word] = []
        is_whole = True
        for word in line.words:
            if word.letter in "GM":
                is_whole &= self._sort_code(line, word, codes)
            elif word.letter in self.letters or word.letter in "FP":
                if words.setdefault(word.letter, word) is not word:
                    self._mistake(line, word, f"{word.letter} stands twice on this line")
            else:
                strangers.append(word)
        for word in strangers if is_whole else ():  # else they may belong to a G or M word
            self._mistake(
                line, word, f"{word.text} is not known; the joints are {' '.join(self.letters)}"
            )
        return codes, words

    def _sort_code(self, line: Line, word: Word, codes: dict[tuple[str, int], Word]) -> bool:
        """Put a G or M word into its modal group; False when it has none here."""
        groups = _G_GROUPS if word.letter == "G" else _M_GROUPS
        group = groups.get(int(word.value)) if word.value.is_integer() else None
        if group is None:
            if word.letter == "M" and word.value in _TOOL_CODES:
                message = (
                    f"{word.text} switches a tool's output, and tool outputs are not there yet"
                )
                self._problem(line.number, word, message)
            else:
                self.obscure.add(word.letter)
                known = " ".join(f"{word.letter}{code}" for code in groups)
                self._mistake(line, word, f"{word.text} is not known; there are {known}")
            return False
        first = codes.setdefault((word.letter, group), word)
        if first is not word:
            name = _GROUP_NAMES[word.letter, group]
            self._mistake(
                line,
                word,
                f"{word.text} and {first.text} are both of the group {name}; a line may hold one",
            )
        return True

    def _set_feed_mode(self, word: Word | None) -> None:
        if word is None:
            return
        is_inverse_time = word.value == 93
        if is_inverse_time != self.is_inverse_time:
            # A figure in 1/min is no speed, nor the other way round.
            self.feed = None
            self.may_lack_feed = True
        self.is_inverse_time = is_inverse_time

    def _set_feed(self, line: Line, word: Word | None) -> None:
        if self.is_inverse_time:
            self.feed = None
        if word is not None:
            self.feed = word.value
            if word.value <= 0:
                self._problem(line.number, word, f"feed rate {word.text} is not above zero")

    def _dwell(self, line: Line, code: Word | None, time: Word | None) -> None:
        if code is not None and time is None:
            self._lack(line, code, f"{code.text} needs a time P in seconds")
        elif code is None and time is not None:
            self._lack(line, time, f"{time.text} belongs to no G4 on this line")
        elif code is not None and time is not None:
            if time.value < 0:
                self._problem(line.number, time, f"a dwell of {time.value:g} s is negative")
            else:
                self.steps.append(Dwell(line.number, time.column, time.value))

    def _set_distance_mode(self, word: Word | None) -> None:
        if word is not None:
            self.is_relative = word.value == 91

    def _move(self, line: Line, code: Word | None, words: dict[str, Word]) -> None:
        targets = tuple(
            Target(self.letters[letter], word.value, word.column)
            for letter, word in words.items()
            if letter in self.letters
        )
        if code is not None:
            self.motion = int(code.value)
            if not targets:
                self._lack(line, code, f"{code.text} moves no joint")
        if not targets:
            return
        cause = code or min(
            (words[letter] for letter in words if letter in self.letters),
            key=lambda word: word.column,
        )
        if self.motion is None and self.may_lack_motion:
            self._lack(line, cause, f"{cause.text} moves a joint before any G0 or G1")
            self.may_lack_motion = False
        elif self.motion == 1 and self.feed is None and self.is_inverse_time:
            self._lack(line, cause, "in G93 every line that moves by G1 needs its own F")
        elif self.motion == 1 and self.feed is None and self.may_lack_feed:
            self._lack(line, cause, "G1 needs a feed rate F, and none has been set in G94")
            self.may_lack_feed = False
        # In spite of a mistake, so that its targets are checked against the ranges as well.
        self.steps.append(self._step(line, cause, targets))

    def _step(self, line: Line, cause: Word, targets: tuple[Target, ...]) -> Move:
        if self.motion != 1 or self.feed is None or self.feed <= 0:
            feed, nominal = None, None
        elif self.is_inverse_time:
            feed, nominal = None, 60.0 / self.feed
        else:
            feed, nominal = self.feed, None
        return Move(
            line=line.number,
            column=cause.column,
            targets=targets,
            relative=self.is_relative,
            rapid=self.motion == 0,
            feed_deg_min=feed,
            nominal_s=nominal,
        )

    def _stop(self, line: Line, word: Word | None) -> None:
        if word is not None:
            self.steps.append(Pause(line.number) if word.value == 0 else End(line.number))
