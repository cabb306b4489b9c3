"""Waypoints, sequences and programs as they are at one time."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

DIGITS: Final = 5
"""Decimals of what is kept: finer than any joint's count in degrees, and written without loss."""
MAX_WAYPOINTS: Final = 10_000
MAX_VISITS: Final = 10_000
"""Of all sequences together."""
MAX_SEQUENCES: Final = 1_000
MAX_PROGRAMS: Final = 1_000
MAX_NAME: Final = 60
"""Characters, so that a line of a program has room for all joints and a name (NISTIR 6556 §3.3)."""


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A place that the arm was taught. Many sequences may visit it."""

    id: int
    name: str
    """No other waypoint's."""
    angles_deg: Mapping[str, float]
    """By joint, to DIGITS decimals."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One step of a sequence: go to a waypoint, switch outputs, wait."""

    waypoint: int
    speed_percent: float = 100.0
    """Of the joints' velocity limits, on the way there."""
    passing: bool = False
    """It may be passed through, within the arm file's tolerance."""
    outputs: tuple[str, ...] = ()
    """M words that switch tool outputs there, in order."""
    dwell_s: float = 0.0
    """Time to wait there, after the outputs."""


@dataclass(frozen=True, slots=True)
class Sequence:
    """Visits in order, under a name."""

    id: int
    name: str
    """No other sequence's."""
    visits: tuple[Visit, ...] = ()


@dataclass(frozen=True, slots=True)
class KeptProgram:
    """A program that is kept under a name. Its text may have mistakes, which `play` tells."""

    id: int
    name: str
    """No other program's."""
    sha256: str
    """Of its text, which the store keeps."""


@dataclass(frozen=True, slots=True)
class Taught:
    """All that was taught and kept, by id; nothing at first."""

    waypoints: Mapping[int, Waypoint] = field(default_factory=dict)
    sequences: Mapping[int, Sequence] = field(default_factory=dict)
    programs: Mapping[int, KeptProgram] = field(default_factory=dict)

    def users_of(self, waypoint: int) -> list[Sequence]:
        """The sequences that visit a waypoint."""
        return [
            sequence
            for sequence in self.sequences.values()
            if any(visit.waypoint == waypoint for visit in sequence.visits)
        ]

    def named(self, name: str) -> Waypoint | None:
        """The waypoint of a name, None if there is none."""
        same = (one for one in self.waypoints.values() if one.name.casefold() == name.casefold())
        return next(same, None)


class TaughtError(ValueError):
    """What was asked of waypoints or sequences cannot be; the text is a sentence."""


def rounded(angles_deg: Mapping[str, float]) -> dict[str, float]:
    """Angles as they are kept."""
    return {joint: round(angle, DIGITS) + 0.0 for joint, angle in angles_deg.items()}


def a_name(text: str, what: str) -> str:
    """A name as it is kept, without blanks around it. Raises TaughtError.

    A comment of a program can hold it (NISTIR 6556 §3.3.4).
    """
    name = " ".join(text.split())
    if not name:
        raise TaughtError(f"a {what} needs a name")
    if len(name) > MAX_NAME:
        raise TaughtError(f"the name has {len(name)} characters, at most {MAX_NAME} are possible")
    if wrong := next((sign for sign in name if sign in "()" or not sign.isprintable()), None):
        shown = wrong if wrong.isprintable() else f"U+{ord(wrong):04X}"
        raise TaughtError(f"a name cannot hold {shown!r}, which a program's comment cannot")
    if re.match(r"unisono\s*,", name, re.IGNORECASE):
        raise TaughtError("a name cannot begin with 'UNISONO,', as an active comment does")
    return name
