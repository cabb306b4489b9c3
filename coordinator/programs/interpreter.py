"""From words to steps: the modal state of a program, and what each line in it gives.

A program begins in G61.1, G90 and G94, without a motion mode and without a feed rate.

A mistake is told once: what is missing on a line that was not understood may be what was not
understood, and what a mode lacks is told where it lacks it first.

Execution on one line follows Table 8 of the standard: comments, feed mode, feed rate, tool outputs,
dwell, path control mode, distance mode, motion, stop.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from coordinator.config.arm import MAX_BLEND_TOLERANCE_DEG
from coordinator.config.joint import JOINT_WORDS
from coordinator.config.problems import Problem
from coordinator.programs.active import Naming, Speed, Strange, read_comment
from coordinator.programs.groups import (
    DISTANCE,
    FEED_MODE,
    MOTION,
    NON_MODAL,
    OUTPUTS,
    PATH_CONTROL,
    STOPPING,
    Sorted,
    sort_words,
)
from coordinator.programs.head import Head
from coordinator.programs.steps import Dwell, End, Move, Output, PathControl, Pause, Step, Target
from coordinator.programs.words import Comment, Line, Word

_CANCEL: Final = 80
_CONTINUOUS: Final = 64


class Interpreter:
    """The modal state. What it keeps does not grow with the number of lines."""

    def __init__(self, letters: Mapping[str, str]) -> None:
        self.head = Head(letters)
        self._steps: list[Step] = []
        """Of the line at hand, as `_problems`."""
        self._problems: list[Problem] = []
        self._motion: int | None = None
        self._cancelled_on: int | None = None
        """The line of the G80 that ended the motion mode, as long as there is none."""
        self._is_relative = False
        self._is_inverse_time = False
        self._path_control = PathControl.EXACT_STOP
        self._tolerance_deg: float | None = None
        self._feed: float | None = None
        self._is_understood = True
        """Every word of the line at hand."""
        self.may_lack_end = True
        self._may_lack_motion = True
        self._may_lack_feed = True
        """Whether lacking it would be told: not once it was, nor where it may have been obscure."""

    def execute(self, line: Line) -> tuple[list[Step], list[Problem]]:
        """One line: its steps, in the order of Table 8, and its mistakes."""
        self._steps, self._problems = [], list(line.problems)
        if any(word.letter in JOINT_WORDS for word in line.words):
            self._problems += self.head.close(line.number)
        shares = self._comments(line)
        found = sort_words(line, self.head.joints)
        self._problems += found.problems
        self._is_understood = not (line.problems or found.problems)
        obscure = set("GMF") if line.problems else found.obscure
        self._set_feed_mode(found.codes.get(FEED_MODE))
        self._set_feed(line, found.words.get("F"))
        for group in OUTPUTS:
            if output := found.codes.get(group):
                word = f"M{output.value:g}"
                self._steps.append(Output(line.number, output.column, word))
        self._parameter(line, found)
        if mode := found.codes.get(DISTANCE):
            self._is_relative = mode.value == 91
        self._move(line, found, shares)
        self._stop(line, found.codes.get(STOPPING))
        if "G" in obscure:
            self._may_lack_motion = False
        if "F" in obscure:
            self._may_lack_feed = False
        if line.words or line.problems:
            self.may_lack_end = "M" not in obscure
        return self._steps, self._problems

    def _problem(self, line: Line, at: Word | Comment, message: str) -> None:
        self._problems.append(Problem(line.number, at.column, message))

    def _lack(self, line: Line, word: Word, message: str) -> None:
        """Something is missing, unless it is among what was not understood."""
        if self._is_understood:
            self._problem(line, word, message)

    def _comments(self, line: Line) -> list[tuple[Comment, Speed]]:
        """Do what the comments ask for, but for the speed of a move."""
        speeds = []
        for comment in line.comments:
            match read_comment(comment.text):
                case Speed() as speed:
                    speeds.append((comment, speed))
                case Naming() as naming:
                    told = self.head.name(naming, line.number, comment.column)
                    if told is not None:
                        self._problem(line, comment, told)
                case Strange(text):
                    told = f"(UNISONO,{text}) is not known; there are"
                    told += " (UNISONO, speed 40) and (UNISONO, A turntable)"
                    self._problem(line, comment, told)
        return speeds

    def _set_feed_mode(self, word: Word | None) -> None:
        if word is None:
            return
        is_inverse_time = word.value == 93
        if is_inverse_time != self._is_inverse_time:
            # A figure in 1/min is no speed, nor the other way round.
            self._feed = None
            self._may_lack_feed = True
        self._is_inverse_time = is_inverse_time

    def _set_feed(self, line: Line, word: Word | None) -> None:
        if self._is_inverse_time:
            self._feed = None
        if word is not None:
            self._feed = word.value
            if word.value <= 0:
                self._problem(line, word, f"feed rate {word.text} is not above zero")

    def _parameter(self, line: Line, found: Sorted) -> None:
        """A dwell, a path control mode, and whose P it is."""
        dwell, mode = found.codes.get(NON_MODAL), found.codes.get(PATH_CONTROL)
        p = found.words.get("P")
        is_continuous = mode is not None and mode.value == _CONTINUOUS
        if mode is not None:
            self._path_control = PathControl(f"G{mode.value:g}")
            self._tolerance_deg = None
        if p is not None and dwell is not None and is_continuous:
            told = f"{p.text} may be of G4 or of G64: give each a line of its own"
            self._problem(line, p, told)
        elif p is not None and is_continuous:
            self._set_tolerance(line, p)
        elif p is not None and dwell is not None:
            if p.value < 0:
                self._problem(line, p, f"a dwell of {p.value:g} s is negative")
            else:
                self._steps.append(Dwell(line.number, p.column, p.value))
        elif p is not None:
            self._lack(line, p, f"{p.text} belongs to no G4 or G64 on this line")
        elif dwell is not None:
            self._lack(line, dwell, f"{dwell.text} needs a time P in seconds")

    def _set_tolerance(self, line: Line, p: Word) -> None:
        if 0.0 < p.value <= MAX_BLEND_TOLERANCE_DEG:
            self._tolerance_deg = p.value
            return
        told = f"a tolerance of {p.value:g}° in G64: above 0 and up to "
        self._problem(line, p, f"{told}{MAX_BLEND_TOLERANCE_DEG:g}° are possible")

    def _move(self, line: Line, found: Sorted, speeds: list[tuple[Comment, Speed]]) -> None:
        code = found.codes.get(MOTION)
        joint_words = sorted(
            (word for letter, word in found.words.items() if letter in self.head.joints),
            key=lambda word: word.column,
        )
        if code is not None and code.value == _CANCEL:
            self._cancel(line, code, joint_words)
            joint_words = []
        elif code is not None:
            self._motion, self._cancelled_on = int(code.value), None
            if not joint_words:
                self._lack(line, code, f"{code.text} moves no joint")
        share = self._share(line, speeds, is_rapid=bool(joint_words) and self._motion == 0)
        if not joint_words:
            return
        cause = code or joint_words[0]
        if self._motion is None and self._may_lack_motion:
            self._lack(line, cause, self._no_motion(cause))
            self._may_lack_motion = False
        elif self._motion == 1 and self._feed is None and self._is_inverse_time:
            self._lack(line, cause, "in G93 every line that moves by G1 needs its own F")
        elif self._motion == 1 and self._feed is None and self._may_lack_feed:
            self._lack(line, cause, "G1 needs a feed rate F, and none has been set in G94")
            self._may_lack_feed = False
        # In spite of a mistake, so that its targets are checked against the ranges as well.
        self._steps.append(self._step(line, cause, joint_words, share))

    def _cancel(self, line: Line, code: Word, joint_words: Sequence[Word]) -> None:
        self._motion, self._cancelled_on = None, line.number
        self._may_lack_motion = True
        if joint_words:
            word = joint_words[0]
            told = f"{word.text} stands on the line of {code.text}, which ends the motion mode"
            self._lack(line, word, told)

    def _no_motion(self, cause: Word) -> str:
        if self._cancelled_on is None:
            return f"{cause.text} moves a joint before any G0 or G1"
        return (
            f"{cause.text} moves a joint, but G80 on line {self._cancelled_on} ended the motion "
            "mode, and no G0 or G1 came since"
        )

    def _share(self, line: Line, speeds: list[tuple[Comment, Speed]], *, is_rapid: bool) -> float:
        """What the line's active comments ask for."""
        share = 1.0
        for number, (comment, speed) in enumerate(speeds):
            if number > 0:
                told = f"a second speed on one line; the first is {float(speeds[0][1].percent):g} %"
                self._problem(line, comment, told)
            elif not is_rapid:
                told = "(UNISONO, speed …) belongs to a line that moves by G0"
                self._problem(line, comment, told)
            elif not 0.0 < speed.share <= 1.0:
                told = f"a speed of {float(speed.percent):g} %: above 0 and up to 100 are possible"
                self._problem(line, comment, told)
            else:
                share = speed.share
        return share

    def _step(self, line: Line, cause: Word, words: Sequence[Word], share: float) -> Move:
        feed, nominal = None, None
        if self._motion == 1 and self._feed is not None and self._feed > 0:
            if self._is_inverse_time:
                nominal = 60.0 / self._feed
            else:
                feed = self._feed
        joints = self.head.joints
        return Move(
            line=line.number,
            column=cause.column,
            targets=tuple(Target(joints[one.letter], one.value, one.column) for one in words),
            relative=self._is_relative,
            rapid=self._motion == 0,
            feed_deg_min=feed,
            nominal_s=nominal,
            share=share,
            path_control=self._path_control,
            tolerance_deg=self._tolerance_deg,
            comment=_first_ordinary(line.comments),
        )

    def _stop(self, line: Line, word: Word | None) -> None:
        if word is None:
            return
        if word.value in (2, 30):
            self._steps.append(End(line.number))
        else:
            self._steps.append(Pause(line.number, optional=word.value == 1))


def _first_ordinary(comments: Sequence[Comment]) -> str:
    """What people may read in the first comment that is not executed."""
    return next((one.text.strip() for one in comments if read_comment(one.text) is None), "")
