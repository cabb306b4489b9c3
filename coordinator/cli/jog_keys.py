"""What the keys of a terminal ask of the joints. Pure: time comes in as `now_us`.

A terminal tells of a key that is pressed, and again while it repeats, but not that it is let go. So
a key turns a joint for TURNS_US only, and each repetition for as long again.
"""

from dataclasses import dataclass
from typing import Final, get_args

from coordinator.config.jog_speeds import SpeedWord

SPEEDS: Final = get_args(SpeedWord)
STEPS_DEG: Final = (None, 0.01, 0.1, 1.0, 10.0)
"""None: it turns while the key repeats."""
TURNS_US: Final = 200_000
"""A terminal that repeats at least ten times a second has one repetition to lose."""
SETTLED_US: Final = 150_000
"""A joint that was heard so long after a step was asked for has begun it."""

_SEQUENCES: Final = {"A": "up", "B": "down", "C": "right", "D": "left"}
"""Last letter of an arrow's sequence (ECMA-48, CUU to CUB), after `ESC [` or `ESC O`."""


def keys_of(text: str) -> tuple[list[str], str]:
    """The keys that a terminal sent, and what has not come whole yet.

    A sequence that is no arrow is one key, which is none of those that turn.
    """
    keys: list[str] = []
    while text:
        if text[0] != "\x1b":
            keys.append(text[0])
            text = text[1:]
            continue
        if len(text) == 1 or (text[1] in "[O" and len(text) == 2):
            return keys, text
        if text[1] not in "[O":
            keys.append("escape")
            text = text[1:]
            continue
        # Parameters and what is between come before the letter that ends a sequence (ECMA-48, 5.4).
        end = next((k for k, letter in enumerate(text[2:], 2) if "@" <= letter <= "~"), None)
        if end is None:
            return keys, text
        keys.append(_SEQUENCES.get(text[end], "escape") if end == 2 else "escape")
        text = text[end + 1 :]
    return keys, ""


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn this joint, towards larger (1) or smaller angles (−1), and no other; 0 lets go."""

    joint: str
    sign: int


@dataclass(frozen=True, slots=True)
class StepBy:
    """Turn this joint by an angle."""

    joint: str
    by_deg: float


@dataclass(frozen=True, slots=True)
class HoldAll:
    """Let the arm come to rest."""


@dataclass(frozen=True, slots=True)
class End:
    """Whoever sits there is done."""


Asked = Turn | StepBy | HoldAll | End


class Hand:
    """One joint of several that keys turn."""

    def __init__(self, joints: list[str], speed: str = "normal") -> None:
        self._joints = joints
        self._chosen = 0
        self.speed = speed
        self.by_deg: float | None = None
        self.waits = False
        """A step was not taken, as the one before is not done."""
        self._sign = 0
        self._until_us = 0
        self._stepped_us: int | None = None

    @property
    def joint(self) -> str:
        """The chosen one."""
        return self._joints[self._chosen]

    @property
    def sign(self) -> int:
        """Which way it is turned now; 0 for not at all."""
        return self._sign

    def press(self, key: str, now_us: int) -> list[Asked]:
        """A key was pressed, or repeats."""
        self.waits = False
        if key in ("left", "right"):
            return self._turn(1 if key == "right" else -1, now_us)
        asked: list[Asked] = [*self.let_go()]
        if key in ("up", "down"):
            self._choose(1 if key == "down" else -1)
        elif key in ("1", "2", "3"):
            self.speed = SPEEDS[int(key) - 1]
        elif key == "s":
            self.by_deg = STEPS_DEG[(STEPS_DEG.index(self.by_deg) + 1) % len(STEPS_DEG)]
        else:
            asked.append(End() if key == "q" else HoldAll())
        return asked

    def look(self, now_us: int) -> list[Asked]:
        """Time has passed: a key that does not repeat is let go."""
        return self.let_go() if now_us >= self._until_us else []

    def let_go(self) -> list[Asked]:
        """Nothing is turned any more."""
        if not self._sign:
            return []
        self._sign = 0
        return [Turn(self.joint, 0)]

    def seen(self, heard_at_us: int, velocity_deg_s: float) -> None:
        """The chosen joint was heard: a step that it has done makes room for the next."""
        settled = self._stepped_us is not None and heard_at_us - self._stepped_us >= SETTLED_US
        if settled and velocity_deg_s == 0:
            self._stepped_us = None

    def refused(self) -> None:
        """The coordinator refused what was asked for."""
        self._sign = 0
        self._stepped_us = None

    def _turn(self, sign: int, now_us: int) -> list[Asked]:
        if self.by_deg is None:
            begins = self._sign != sign
            self._sign, self._until_us = sign, now_us + TURNS_US
            return [Turn(self.joint, sign)] if begins else []
        # A key that repeats is faster than a joint: steps would go on long after it was let go.
        if self._stepped_us is not None:
            self.waits = True
            return []
        self._stepped_us = now_us
        return [StepBy(self.joint, sign * self.by_deg)]

    def _choose(self, by: int) -> None:
        self._chosen = (self._chosen + by) % len(self._joints)
        self._stepped_us = None
