"""What a check is, and what can come of it."""

from collections.abc import Awaitable, Callable
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coordinator.conform.bench import Bench

Make = Callable[["Bench"], Awaitable[None]]
"""Makes a check. Raises Wrong, NotMade, Lost; nothing raised is a pass."""


class Outcome(StrEnum):
    """What came of a check."""

    PASS = "pass"
    FAIL = "fail"
    NOT_MADE = "not made"


class Wrong(Exception):
    """The joint does not do what the page says."""

    def __init__(self, expected: str, came: str) -> None:
        super().__init__(f"expected {expected}; came {came}")
        self.expected = expected
        self.came = came


class NotMade(Exception):
    """A check that cannot be made of this joint, or not here; the text says why."""


class Blocked(Exception):
    """The joint could not be brought to where a check begins, so nothing is known of that."""


class Lost(Exception):
    """Nothing is there to be asked any more."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that the page demands."""

    id: str
    section: str
    """Anchor of its heading in protocol/README.md."""
    sentence: str
    moves: bool
    """Whether drivers are switched on or off for it, so that the motor may move."""
    make: Make


class Section:
    """The checks of one heading of protocol/README.md."""

    def __init__(self, anchor: str) -> None:
        self.anchor = anchor
        self.checks: list[Check] = []

    def check(self, name: str, sentence: str, *, moves: bool = False) -> Callable[[Make], Make]:
        """Adds the function that makes a check."""

        def add(make: Make) -> Make:
            self.add(name, sentence, make, moves=moves)
            return make

        return add

    def add(self, name: str, sentence: str, make: Make, *, moves: bool = False) -> None:
        """The same for one of many that are made alike."""
        self.checks.append(Check(f"{self.anchor}/{name}", self.anchor, sentence, moves, make))


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one check."""

    id: str
    section: str
    sentence: str
    outcome: Outcome
    expected: str = ""
    """Of a failed one."""
    came: str = ""
    why: str = ""
    """Of one that was not made."""
    is_blocked: bool = False
    """Not made because the joint did not do what has to be done before."""

    def to_json(self) -> dict[str, Any]:
        """For `--json`."""
        return {name: value for name, value in asdict(self).items() if value != ""}


def equal(what: str, expected: object, came: object) -> None:
    """Raises Wrong unless two values are the same."""
    if came != expected:
        raise Wrong(f"{what} {expected}", f"{came}")


def require(holds: bool, expected: str, came: object) -> None:
    """Raises Wrong unless something holds."""
    if not holds:
        raise Wrong(expected, f"{came}")
