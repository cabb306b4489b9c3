"""What a search comes to."""

from dataclasses import dataclass, field
from hashlib import blake2b

from tests.campaign.clone import share


def digest(state: object) -> int:
    """The same in every process, which `hash` is not."""
    return int.from_bytes(blake2b(repr(state).encode(), digest_size=8).digest(), "big")


class Merged(Exception):
    """This schedule has become the same as another one that is run too."""


@share
@dataclass(slots=True)
class Found:
    """Counts, and what was found wrong; common to all runs of a search."""

    schedules: int = 0
    """Runs that went to their end."""
    merged: int = 0
    """Runs cut short because they had become the same as another one."""
    states: set[int] = field(default_factory=set)
    """Hashes of all states seen at the end of a tick."""
    settled: set[int] = field(default_factory=set)
    """Hashes of all states of rest from which a play was asked for."""
    violations: list[tuple[list[str], str]] = field(default_factory=list)
    """Decision list and sentence of each."""
    seconds: float = 0.0

    def add(self, other: "Found") -> None:
        """Take in what another worker came to."""
        self.schedules += other.schedules
        self.merged += other.merged
        self.states |= other.states
        self.settled |= other.settled
        self.violations += other.violations
        self.seconds = max(self.seconds, other.seconds)
