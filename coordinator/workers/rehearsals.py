"""Programs rehearsed for whoever asks over the API: one at a time, in a process of its own.

It leaves the processor to whatever moves the arm, and ends with this process. What a rehearsal is,
`coordinator/rehearsal` knows.
"""

import asyncio
import contextlib
from collections import OrderedDict
from dataclasses import asdict, dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, Final

from coordinator import compiled
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.core.events import Refused
from coordinator.core.snapshot.joint import JointSnapshot, fitted_hops
from coordinator.motion.peaks import JointPeaks
from coordinator.programs import NO_SWITCHES, Problem, Switches
from coordinator.rehearsal.expected_heat import heat_sentence, peaks_c
from coordinator.rehearsal.played import Played
from coordinator.rehearsal.plot import plot
from coordinator.rehearsal.summary import Summary, start_skews_us, summarise
from coordinator.workers.processes import SPAWN, end_child, start_child
from coordinator.workers.rehearsing import Planned
from protocol.constants import US

_REHEARSE: Final = "coordinator.workers.rehearsing:rehearse"
KEPT: Final = 20
"""Rehearsals that can still be asked for; a plot has some ten kB."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A program to be rehearsed on a network, with the seeds 1 to `repetitions`."""

    name: str
    text: str
    network: str
    repetitions: int
    switches: Switches = NO_SWITCHES
    told: tuple[JointSnapshot, ...] = ()
    """The arm's joints as they were when it was asked for, with what was fitted to them."""

    @property
    def fitted_ohm(self) -> dict[str, float]:
        """Resistances of hops, by joint, that are fitted; the arm file has the rest."""
        return fitted_hops(self.told)


@dataclass(slots=True)
class _Rehearsal:
    wish: Wish
    state: str = "running"
    """running done cancelled failed"""
    message: str = ""
    errors: list[Problem] = field(default_factory=list)
    """The program's mistakes, for an arm that stands at its pose `park`."""
    played: list[Played] = field(default_factory=list)
    planned: Planned | None = None
    process: SpawnProcess | None = None

    @property
    def peaks(self) -> tuple[JointPeaks, ...]:
        return self.planned.peaks if self.planned is not None else ()

    def to_json(self, number: int, arm: Arm) -> dict[str, Any]:
        summary = summarise(self.played) if self.played else None
        return {
            "rehearsal": number,
            "name": self.wish.name,
            "network": self.wish.network,
            "state": self.state,
            "message": self.message,
            "errors": [asdict(error) for error in self.errors],
            "done": len(self.played),
            "of": self.wish.repetitions,
            "summary": asdict(summary) if summary is not None else None,
            "joints": [asdict(peak) for peak in self.peaks],
            "fitted_hops": list(self.wish.fitted_ohm),
            **self._heat(summary, arm),
        }

    def _heat(self, summary: Summary | None, arm: Arm) -> dict[str, Any]:
        if summary is None or self.planned is None:
            return {"highest_temperature_c": {}, "heat": ""}
        longest_us = summary.duration_us.most if summary.duration_us is not None else 0.0
        for_s = max(self.planned.duration_us, longest_us) / US
        highest_c = peaks_c(arm.joints, self.wish.told, for_s)
        return {
            "highest_temperature_c": {
                name: None if one is None else asdict(one) for name, one in highest_c.items()
            },
            "heat": heat_sentence(highest_c, arm.joints, self.wish.told),
        }


class Rehearsals:
    """One arm's rehearsals. To be used in a running loop, from the main thread."""

    def __init__(self, arm: Arm) -> None:
        self._arm = arm
        self._kept: OrderedDict[int, _Rehearsal] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()
        self._last = 0

    def begin(self, wish: Wish) -> int:
        """Begin one; its number. Raises Refused while another goes on."""
        going = [n for n, one in self._kept.items() if one.state == "running"]
        if going:
            raise Refused(
                RefusalCode.REHEARSING, f"rehearsal {going[0]} goes on: wait for it, or cancel it"
            )
        self._last += 1
        rehearsal = self._kept[self._last] = _Rehearsal(wish)
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        ours, theirs = SPAWN.Pipe()
        with theirs:
            # The program goes by the pipe, from a thread: a child is given what it begins with
            # before it reads, so that much text would hold up the loop until it does.
            rehearsal.process = start_child(compiled.work, _REHEARSE, theirs, daemon=True)
        task = asyncio.get_running_loop().create_task(_follow(rehearsal, self._arm, ours))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return self._last

    def state(self, number: int) -> dict[str, Any] | None:
        """How one goes or went, with what is known so far; None if it is not kept."""
        found = self._kept.get(number)
        return found.to_json(number, self._arm) if found is not None else None

    async def picture(self, number: int) -> str | None:
        """What has been seen so far as SVG; None where there is nothing to draw."""
        found = self._kept.get(number)
        if found is None or not found.played:
            return None
        played = list(found.played)
        title = (
            f"{found.wish.name} on {self._arm.name}, network {found.wish.network}, "
            f"{len(played)} of {found.wish.repetitions} rehearsals"
        )
        # Too long for the loop, which has an arm to move.
        return await asyncio.to_thread(
            lambda: plot(title, summarise(played), found.peaks, start_skews_us(played))
        )

    async def cancel(self, number: int) -> bool:
        """End one that goes on, and keep what is known; False if it is not kept."""
        found = self._kept.get(number)
        if found is not None and found.state == "running":
            found.state = "cancelled"
            await _end(found)
        return found is not None

    async def close(self) -> None:
        """Cancel what goes on."""
        for number in list(self._kept):
            await self.cancel(number)
        await asyncio.gather(*self._tasks)


async def _end(rehearsal: _Rehearsal) -> None:
    if rehearsal.process is not None:
        await asyncio.to_thread(end_child, rehearsal.process)


async def _follow(rehearsal: _Rehearsal, arm: Arm, pipe: Connection) -> None:
    """Tell the process what to rehearse, then take results until there are no more."""
    wish = rehearsal.wish
    told = (
        arm,
        wish.name,
        wish.text,
        wish.network,
        wish.repetitions,
        wish.switches,
        wish.fitted_ohm,
    )
    with pipe:
        with contextlib.suppress(OSError):
            await asyncio.to_thread(pipe.send, told)
        while True:
            try:
                result = await asyncio.to_thread(pipe.recv)
            except (EOFError, OSError):
                break
            if isinstance(result, Played):
                rehearsal.played.append(result)
            elif isinstance(result, str):
                rehearsal.message = result
            elif isinstance(result, list):
                rehearsal.message = "the program has mistakes"
                rehearsal.errors = result
            else:
                rehearsal.planned = result
    if rehearsal.state == "running":
        is_done = len(rehearsal.played) == rehearsal.wish.repetitions
        rehearsal.state = "done" if is_done else "failed"
        if not is_done and not rehearsal.message:
            rehearsal.message = "the process that rehearses ended early"
    await _end(rehearsal)
