"""What many starts were: the true start skew of each beside what its report claims and proves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Began = tuple[str, float]
"""A joint that truly began to move, at an instant in µs of the report's own time."""

NEAR_US = 100_000
"""Further from its instant no start can be: clocks are known to better than 5 ms, and between two
starts a joint must stop first."""


@dataclass(slots=True)
class Starts:
    """Starts on one kind of network, resumes after a hold among them. Times in µs."""

    start_skew_us: list[float] = field(default_factory=list)
    """True, of starts that the coordinator called complete."""
    claimed_us: list[float] = field(default_factory=list)
    start_skew_max_us: list[float] = field(default_factory=list)
    start_delay_us: list[float] = field(default_factory=list)
    first_attempt: int = 0
    partial: int = 0
    """Some joints began alone, for their first permit, and held."""
    refused: int = 0
    holds: int = 0
    """In mid-motion: not those that follow a start that failed."""
    unproved: int = 0
    """Complete starts whose report states no bound."""
    broken: list[str] = field(default_factory=list)
    """Sentences: where the truth was not within what a report states."""

    @property
    def asked(self) -> int:
        """Starts that were asked for, whatever became of them."""
        return len(self.start_delay_us) + self.partial + self.refused

    @property
    def first_share(self) -> float:
        """Share of all starts asked for in which all joints began together at the first attempt."""
        return self.first_attempt / self.asked if self.asked else float("nan")

    def take(
        self, report: Mapping[str, Any], refused: int, began: Sequence[Began], where: str
    ) -> None:
        """Take in a run: its report, how many of its starts were refused, and what truly began."""
        if report["outcome"] == "refused":
            # A joint that could not be made ready is refused before any start is set.
            refused = max(refused, 1)
        before = self.partial
        self.partial += report["partial_starts"]
        self.refused += refused
        for start in report["starts"]:
            self._take_start(start, began, f"{where}, run {report['run']}")
        self.holds += max(0, len(report["holds"]) - (self.partial - before) - refused)

    def add(self, other: "Starts") -> None:
        """Take in what another has seen."""
        for name in (
            "start_skew_us",
            "claimed_us",
            "start_skew_max_us",
            "start_delay_us",
            "broken",
        ):
            getattr(self, name).extend(getattr(other, name))
        for name in ("first_attempt", "partial", "refused", "holds", "unproved"):
            setattr(self, name, getattr(self, name) + getattr(other, name))

    def _take_start(self, start: Mapping[str, Any], began: Sequence[Began], where: str) -> None:
        true = {name: at for name, at in began if abs(at - start["at_us"]) <= NEAR_US}
        missing = set(start["joints"]) - set(true)
        if missing and start["start_skew_max_us"] is not None:
            self.broken.append(
                f"{where}: a bound is stated of the start at {start['at_us']} µs, but "
                f"{', '.join(sorted(missing))} did not begin: {start}"
            )
        if missing:
            # All had confirmed, but a hold came between that and the start's instant.
            self.partial += 1
            return
        self.start_delay_us.append(start["start_delay_us"])
        self.first_attempt += start["attempts"] == 1
        skew = max(true.values()) - min(true.values())
        self.start_skew_us.append(skew)
        if start["start_skew_max_us"] is None:
            self.unproved += 1
            return
        self.claimed_us.append(start["start_skew_us"])
        self.start_skew_max_us.append(start["start_skew_max_us"])
        if skew > start["start_skew_max_us"]:
            self.broken.append(
                f"{where}: true start skew {skew:.3f} µs, bound {start['start_skew_max_us']} µs; "
                f"truly began at {true}: {start}"
            )
