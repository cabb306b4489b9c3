"""Which letter is which joint: by the arm file, unless the program's head says it.

The head is what stands before the first motion.
"""

from collections.abc import Iterator, Mapping
from typing import Final

from coordinator.config.joint import JOINT_WORDS
from coordinator.config.problems import Problem
from coordinator.programs.active import Naming

RESERVED_LETTERS: Final = "".join(sorted(set("ABCDEFGHIJKLMNOPQRSTUVWXYZ").difference(JOINT_WORDS)))
"""Letters that no joint can have."""


class Head:
    """The letters of one program."""

    def __init__(self, letters: Mapping[str, str]) -> None:
        """Raises ValueError for a letter that no joint can have."""
        if set(letters).intersection(RESERVED_LETTERS):
            raise ValueError(f"joint letters {' '.join(letters)} are not free")
        self._usual = letters
        self._named: dict[str, tuple[str, int, int]] = {}
        """The joint of a letter, and line and column where that was said."""
        self.closed_on: int | None = None
        """The line of the first motion."""
        self.joints = {letter: joint for joint, letter in enumerate(letters)}
        """Index of the joint, base to tool, by its letter."""

    @property
    def letters(self) -> tuple[str, ...]:
        """The joints' letters, base to tool."""
        named = {joint: letter for letter, (joint, _, _) in self._named.items()}
        return tuple(named.get(joint, letter) for letter, joint in self._usual.items())

    def name(self, naming: Naming, line: int, column: int) -> str | None:
        """Give a joint a letter; what is wrong with it, if anything, and then it is not given."""
        letter, joint = naming.letter, naming.joint
        known = tuple(self._usual.values())
        if self.closed_on is not None:
            return (
                f"the letter of {joint} is given too late: the first motion is on line "
                f"{self.closed_on}"
            )
        if joint not in known:
            return f"there is no joint {joint}; this arm has {' '.join(known)}"
        if letter in RESERVED_LETTERS:
            reserved = " ".join(RESERVED_LETTERS)
            return f"{letter} can be no joint's letter: {reserved} mean something in every program"
        if letter in self._named:
            other, where, _ = self._named[letter]
            return f"{letter} is {other} already, by line {where}"
        for given, (other, where, _) in self._named.items():
            if other == joint:
                return f"{joint} has the letter {given} already, by line {where}"
        self._named[letter] = joint, line, column
        return None

    def close(self, line: int) -> Iterator[Problem]:
        """The first motion is on this line; letters that two joints would have."""
        if self.closed_on is not None:
            return
        self.closed_on = line
        renamed = {joint for joint, _, _ in self._named.values()}
        for letter, (joint, where, column) in self._named.items():
            other = self._usual.get(letter, joint)
            if other not in renamed:
                message = (
                    f"{letter} is the letter of {other} too, by the arm file: give {other} another "
                    "one"
                )
                yield Problem(where, column, message)
        self.joints = {letter: joint for joint, letter in enumerate(self.letters)}
