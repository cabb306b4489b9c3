"""Warnings that stand: they begin late, end late, and are told once each time.

A value that hovers about its limit must not make its warning come and go. So a warning has a dead
band, a delay before it begins and a delay before it ends, the usual means against chattering
(ISA-18.2, from memory). What is judged here is only whether a value is *bad*, clear of its dead
band, or in between; the values themselves and their limits belong to the kinds beside this file.

A warning that somebody acknowledges stays until it ends. One that comes back is a new one, with a
new number.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

from coordinator.codes.level import Level


@dataclass(frozen=True, slots=True)
class Kind:
    """What all warnings of one code have in common."""

    code: str
    """Stable, for programs."""
    level: Level
    """Attention or danger."""
    advice: str
    """What to do: a clause."""
    over: str
    """What is so once it has ended: a clause that follows the joint's name."""
    begin_after_us: int = 0
    """It must have been bad for so long without a break."""
    end_after_us: int = 0
    """It must have been clear for so long without a break."""


class Finding(NamedTuple):
    """What one look at a joint says of one kind."""

    kind: Kind
    bad: bool | None
    """True beyond the limit, False clear of the dead band, None in it or unknown."""
    message: str = ""
    """What happened, with value and limit, and what it means; only where it is bad."""


@dataclass(frozen=True, slots=True)
class StandingWarning:
    """A warning that has begun and not ended. `since_us` is arm time."""

    id: int
    joint: str
    kind: Kind
    message: str
    """As it was when the warning began."""
    since_us: int
    acknowledged: bool = False


@dataclass(frozen=True, slots=True)
class Change:
    """A warning began, or ended."""

    warning: StandingWarning
    began: bool


@dataclass(slots=True)
class _Place:
    """Of one joint and kind: what stands, and since when it has been on its way to change."""

    warning: StandingWarning | None = None
    turning_us: int | None = None


class WarningKeeper:
    """All warnings of one arm."""

    def __init__(self) -> None:
        self._places: dict[tuple[str, str], _Place] = {}
        self._next_id = 1

    def observe(self, joint: str, findings: Iterable[Finding], now: int) -> list[Change]:
        """Take what was found at a joint; what begins and ends with it."""
        changes = []
        for finding in findings:
            key = joint, finding.kind.code
            place = self._places.get(key)
            if place is None:
                place = self._places[key] = _Place()
            stands = place.warning is not None
            if finding.bad is None or finding.bad is stands:
                place.turning_us = None
                continue
            if place.turning_us is None:
                place.turning_us = now
            kind = finding.kind
            delay_us = kind.end_after_us if stands else kind.begin_after_us
            if now - place.turning_us >= delay_us:
                changes.append(self._turn(place, joint, finding, now))
        return changes

    def _turn(self, place: _Place, joint: str, finding: Finding, now: int) -> Change:
        place.turning_us = None
        if place.warning is not None:
            ended, place.warning = place.warning, None
            return Change(ended, began=False)
        place.warning = StandingWarning(self._next_id, joint, finding.kind, finding.message, now)
        self._next_id += 1
        return Change(place.warning, began=True)

    def stands(self, joint: str, kind: Kind) -> bool:
        """Whether a joint's warning of a kind stands."""
        place = self._places.get((joint, kind.code))
        return place is not None and place.warning is not None

    @property
    def standing(self) -> list[StandingWarning]:
        """All that stand, oldest first."""
        found = [place.warning for place in self._places.values() if place.warning is not None]
        return sorted(found, key=lambda warning: warning.id)

    def acknowledge(self, number: int) -> StandingWarning | None:
        """Somebody acknowledges a warning; None if none of that number stands."""
        for place in self._places.values():
            if place.warning is not None and place.warning.id == number:
                place.warning = replace(place.warning, acknowledged=True)
                return place.warning
        return None
