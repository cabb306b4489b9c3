"""Warnings that stand: they begin late, end late, and are told once each time.

A value that hovers about its limit must not make its warning come and go. So a warning has a dead
band, a delay before it begins and a delay before it ends, the usual means against chattering
(ISA-18.2, from memory). What is judged here is only whether a value is *bad*, clear of its dead
band, or in between; the values themselves and their limits belong to the kinds beside this file.

What people are told of a warning is its alarm, which has a state (`alarm_states.py`). One that
somebody acknowledges stays until it ends; one that ends before anybody did stays until somebody
does; one on the shelf stands and is counted as ever, only its sign is put aside. One that comes
back is a new one, with a new number.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.priority import Priority
from coordinator.health.alarm_flood import FloodWatch
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.health.alarm_place import AlarmPlace, Shelf, StandingWarning
from coordinator.health.alarm_states import AlarmTrigger
from coordinator.health.first_out import Episodes


@dataclass(frozen=True, slots=True)
class Change:
    """A warning began, or ended."""

    warning: StandingWarning
    began: bool


class Kept(NamedTuple):
    """What a restart must know of a joint's kind, once something of it changed."""

    joint: str
    kind: Kind
    unseen: StandingWarning | None
    """What nobody has seen, whether it stands or is over; None where nothing is left to be seen."""
    off_the_shelf: bool
    """Whether it was taken off the shelf with that, or its time there is over."""


class WarningKeeper:
    """All warnings of one arm."""

    def __init__(self) -> None:
        self.flood = FloodWatch()
        self.episodes = Episodes()
        self._places: dict[tuple[str, str], AlarmPlace] = {}
        self._next_id = 1
        self._changed: dict[tuple[str, str], tuple[Kind, bool]] = {}
        """By place, what a restart must know anew: the kind, and whether it left the shelf."""

    def observe(self, joint: str, findings: Iterable[Finding], now: int) -> list[Change]:
        """Take what was found at a joint; what begins and ends with it."""
        changes = []
        for finding in findings:
            place = self._place(joint, finding.kind)
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

    def _place(self, joint: str, kind: Kind) -> AlarmPlace:
        key = joint, kind.code
        place = self._places.get(key)
        if place is None:
            place = self._places[key] = AlarmPlace()
        return place

    def _number(self) -> int:
        number, self._next_id = self._next_id, self._next_id + 1
        return number

    def _changes(self, joint: str, kind: Kind, *, off: bool = False) -> None:
        if kind.priority is not Priority.JOURNAL:
            was_off = self._changed.get((joint, kind.code), (kind, False))[1]
            self._changed[joint, kind.code] = kind, off or was_off

    def _turn(self, place: AlarmPlace, joint: str, finding: Finding, now: int) -> Change:
        self._changes(joint, finding.kind)
        bad_since_us = now if place.turning_us is None else place.turning_us
        place.turning_us = None
        if place.warning is not None:
            ended, place.warning = place.warning, None
            if ended.kind.priority is not Priority.JOURNAL:
                place.follow(AlarmTrigger.ENDS)
            if place.state is AlarmState.RETURNED:
                place.returned = replace(ended, state=place.state)
            return Change(ended, began=False)
        kind, number = finding.kind, self._number()
        place.warning = StandingWarning(number, joint, kind, finding.message, now)
        if kind.priority is not Priority.JOURNAL:
            place.follow(AlarmTrigger.BEGINS)
            self.episodes.began(number, bad_since_us, now)
            if place.state is not AlarmState.SHELVED:
                self.flood.began(kind.origin, now)
        return Change(place.warning, began=True)

    def step(self, now: int) -> list[Shelf]:
        """Take note of the time: whatever has been on the shelf for its time comes back; which."""
        over = [one for one in self.shelved if now >= one.until_us]
        for shelf in over:
            self._off_the_shelf(self._place(shelf.joint, shelf.kind), shelf, now)
        shown = {one.id for one in (*self.standing, *self.returned)}
        self.episodes.forget(shown, now)
        return over

    def stands(self, joint: str, kind: Kind) -> bool:
        """Whether a joint's warning of a kind stands."""
        place = self._places.get((joint, kind.code))
        return place is not None and place.warning is not None

    @property
    def standing(self) -> list[StandingWarning]:
        """All that stand, shelved ones too, oldest first. What only the journal has does not."""
        found = [
            place.warning
            for place in self._places.values()
            if place.warning is not None and place.warning.kind.priority is not Priority.JOURNAL
        ]
        return sorted(found, key=lambda warning: warning.id)

    @property
    def returned(self) -> list[StandingWarning]:
        """All that are over and that nobody has acknowledged, oldest first."""
        found = [place.returned for place in self._places.values() if place.returned is not None]
        return sorted(found, key=lambda warning: warning.id)

    @property
    def shelved(self) -> list[Shelf]:
        """All that are on the shelf, whether they stand or not, oldest first."""
        found = [place.shelf for place in self._places.values() if place.shelf is not None]
        return sorted(found, key=lambda shelf: shelf.id)

    def _of(self, number: int) -> AlarmPlace | None:
        return next((place for place in self._places.values() if place.has(number)), None)

    def find(self, number: int) -> StandingWarning | Shelf | None:
        """What a number means: what stands, what is over and shown still, or a shelf."""
        place = self._of(number)
        return None if place is None else place.warning or place.returned or place.shelf

    def acknowledge(self, number: int) -> StandingWarning | None:
        """Somebody acknowledges a warning; it as it is then, None if none of that number is shown.

        One that is over is gone with that. One on the shelf stays there.
        """
        place = self._of(number)
        found = None if place is None else place.warning or place.returned
        if place is None or found is None:
            return None
        if place.state in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED):
            place.follow(AlarmTrigger.ACKNOWLEDGE)
            self._changes(found.joint, found.kind)
        return replace(found, state=place.state)

    def shelve(self, joint: str, kind: Kind, who: str, until_us: int) -> Shelf:
        """Somebody puts the sign of a joint's kind aside until then, or did before a restart."""
        place = self._place(joint, kind)
        shown = place.warning or place.returned or place.shelf
        number = self._number() if shown is None else shown.id
        place.follow(AlarmTrigger.SHELVE)
        self._changes(joint, kind)
        place.shelf = Shelf(number, joint, kind, who, until_us)
        return place.shelf

    def unshelve(self, number: int, now: int) -> Shelf | None:
        """Somebody takes a kind off the shelf; None if none of that number is on it."""
        place = self._of(number)
        if place is None or place.shelf is None:
            return None
        shelf = place.shelf
        self._off_the_shelf(place, shelf, now)
        return shelf

    def _off_the_shelf(self, place: AlarmPlace, shelf: Shelf, now: int) -> None:
        self._changes(shelf.joint, shelf.kind, off=True)
        if place.warning is None:
            place.follow(AlarmTrigger.CLEARED)
            return
        place.follow(AlarmTrigger.BACK)
        self.flood.began(place.warning.kind.origin, now)

    def recall(self, joint: str, kind: Kind, message: str, since_us: int, now: int) -> None:
        """One that nobody had seen before a restart: whether it is so still nobody knows yet.

        If it is, it begins as a new one in its place, or has begun. It is no part of a flood.
        """
        place = self._place(joint, kind)
        if place.state is not AlarmState.NORMAL:
            return
        number = self._number()
        place.follow(AlarmTrigger.RECALL)
        place.returned = StandingWarning(number, joint, kind, message, since_us, place.state)
        self.episodes.began(number, since_us, now)

    def drained(self) -> list[Kept]:
        """What a restart must know otherwise than when this was asked last."""
        changed, self._changed = self._changed, {}
        return [
            Kept(joint, kind, self._unseen(self._places[joint, code]), off)
            for (joint, code), (kind, off) in changed.items()
        ]

    def _unseen(self, place: AlarmPlace) -> StandingWarning | None:
        return place.warning if place.state is AlarmState.UNACKNOWLEDGED else place.returned

    def sooner(self, by_us: int) -> None:
        """Arm time stood still for so long: shelves end that much sooner by it."""
        for place in self._places.values():
            if place.shelf is not None:
                place.shelf = replace(place.shelf, until_us=place.shelf.until_us - by_us)
