"""The faulty_link between one laptop and one joint: a link as its profile says, and scripted
trouble.

Trouble is what a scenario asks for on top of the profile: for a while frames are lost, late, out
of order, doubled or damaged, in one direction or both.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from random import Random
from typing import Final

from simulator.network import BOTH, MAX_RTO_US, MIN_RTO_US, Direction, Link, Profile


class Trouble(StrEnum):
    """What can be wrong with a link."""

    LOSS = "loss"
    """Each datagram, and each try of a stream, is lost with a probability."""
    DELAY = "delay"
    """Everything takes longer by a time in µs."""
    REORDER = "reorder"
    """Each datagram leaves the queue with a probability and takes up to 0.2 s longer."""
    DUPLICATE = "duplicate"
    """Each datagram comes twice with a probability, the second up to 0.2 s later."""
    CORRUPT = "corrupt"
    """Each datagram is damaged with a probability."""


STRAY_US: Final = 200_000


@dataclass(frozen=True, slots=True)
class _Spell:
    kind: Trouble
    start_us: int
    end_us: int
    amount: float
    directions: tuple[Direction, ...]


@dataclass(frozen=True, slots=True)
class Arrival:
    """When a datagram comes, and whether whole."""

    at_us: int
    damaged: bool = False


class FaultyLink:
    """One link with its trouble. Times are the world's true time in µs."""

    def __init__(self, profile: Profile, seed: int, start_us: int) -> None:
        self.link = Link(profile, seed, start_us)
        self.struck: dict[str, int] = {}
        """How often each kind of trouble really hit a datagram."""
        self._random = Random(f"trouble {seed}")
        self._stream_us: dict[Direction, int] = {}
        """When what was written to the stream last comes, by its way."""
        self._spells: list[_Spell] = []
        self._cuts: list[tuple[int, int, tuple[Direction, ...]]] = []

    def replace(self, profile: Profile, seed: int, now_us: int) -> None:
        """From now on the link is another one; scripted trouble is over."""
        self.link = Link(profile, seed, now_us)
        self._spells.clear()
        self._cuts.clear()

    def cut(self, start_us: int, end_us: int, directions: Sequence[Direction] = BOTH) -> None:
        """Nothing passes for a while."""
        self.link.outage(start_us, end_us, tuple(directions))
        self._cuts.append((start_us, end_us, tuple(directions)))

    def trouble(
        self,
        kind: Trouble,
        amount: float,
        start_us: int,
        end_us: int,
        directions: Sequence[Direction] = BOTH,
    ) -> None:
        """Trouble for a while; what `amount` means depends on the kind."""
        self._spells.append(_Spell(kind, start_us, end_us, amount, tuple(directions)))

    def forward(self, now_us: int) -> Sequence[Arrival]:
        """When a datagram that leaves the laptop now comes to the joint."""
        arrivals = self.link.forward(now_us)
        if not self._spells and not self._cuts:
            return [Arrival(at_us) for at_us in arrivals]
        return self._troubled(arrivals, "forward", now_us)

    def back(self, now_us: int) -> Sequence[Arrival]:
        """When a datagram that leaves the joint now comes to the laptop."""
        arrivals = self.link.back(now_us)
        if not self._spells and not self._cuts:
            return [Arrival(at_us) for at_us in arrivals]
        return self._troubled(arrivals, "back", now_us)

    def stream_delay(self, direction: Direction, now_us: int) -> int:
        """How long what is written to the stream now takes.

        Loss costs time-outs as on a link of its own (`Link.stream_delay`), delay adds to the way.
        Whatever else strikes datagrams, a stream hides.
        """
        try_us, rto_us = now_us, MIN_RTO_US
        while any(
            self._random.random() < spell.amount
            for spell in self._striking(Trouble.LOSS, direction, try_us)
        ):
            try_us += rto_us
            rto_us = min(2 * rto_us, MAX_RTO_US)
        delays = self._striking(Trouble.DELAY, direction, try_us)
        extra = try_us - now_us + sum(int(spell.amount) for spell in delays)
        come_us = now_us + self.link.stream_delay(direction, now_us) + extra
        # What was written later never overtakes.
        self._stream_us[direction] = max(self._stream_us.get(direction, 0), come_us)
        return self._stream_us[direction] - now_us

    def _striking(self, kind: Trouble, direction: Direction, at_us: int) -> list[_Spell]:
        """The spells of one kind in force one way at an instant."""
        return [
            spell
            for spell in self._spells
            if spell.kind is kind
            and direction in spell.directions
            and spell.start_us <= at_us < spell.end_us
        ]

    def _troubled(
        self, arrivals: Sequence[int], direction: Direction, now_us: int
    ) -> list[Arrival]:
        if not arrivals:
            if any(a <= now_us < b and direction in ways for a, b, ways in self._cuts):
                self._count("outage")
            return []
        found = [Arrival(at_us) for at_us in arrivals]
        self._spells = [spell for spell in self._spells if spell.end_us > now_us]
        for spell in self._spells:
            if spell.start_us > now_us or direction not in spell.directions:
                continue
            if spell.kind is Trouble.DELAY:
                found = [Arrival(one.at_us + int(spell.amount), one.damaged) for one in found]
            elif self._random.random() >= spell.amount:
                continue
            elif spell.kind is Trouble.LOSS:
                found = []
            else:
                late = found[0].at_us + self._random.randrange(STRAY_US) if found else 0
                if not found:
                    continue
                if spell.kind is Trouble.REORDER:
                    found = [Arrival(late, found[0].damaged), *found[1:]]
                elif spell.kind is Trouble.DUPLICATE:
                    found = [*found, Arrival(late, found[0].damaged)]
                else:
                    found = [Arrival(one.at_us, True) for one in found]
            self._count(spell.kind.value)
        return found

    def _count(self, what: str) -> None:
        self.struck[what] = self.struck.get(what, 0) + 1
