"""What joints are, once a second, into the database, and from it as it was. Nothing waits for it.

What is written goes in one batch, so a crash loses the seconds since the last one and nothing else.
What the disk does not take is written with the next batch. While it takes nothing, and while it
hangs, the oldest is given up, so that what waits has its bound.
"""

import asyncio
import contextlib
import itertools
import logging
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from sqlalchemy import Connection

from coordinator.answers.joint_history import JointHistory, JointWear
from coordinator.codes.level import Level
from coordinator.core.link.link import JointLink
from coordinator.health.hop_estimate import HopEstimate
from coordinator.health.supply_chain import SupplyChain
from coordinator.history.cells import Cell, CellKey, cell_of, spread_of
from coordinator.history.collector import Collector
from coordinator.history.levels import look_at
from coordinator.history.motion import MotionCounter
from coordinator.history.position_error import PLACE, PositionErrors
from coordinator.history.quantities import GAUGES, Reading, reading
from coordinator.records.history_answer import history_of, wear_of
from coordinator.records.hop_answer import TREND_DAYS, hop_wear
from coordinator.records.trouble_log import TroubleLog
from coordinator.store import Store, StoreError, joint_history
from coordinator.store.utc import unix_now_s, utc_of

SAMPLE_S: Final = 1.0
BATCH: Final = 10
"""Samples in one batch: what a crash loses."""
_HOP: Final = next(gauge for gauge in GAUGES if gauge.name == "hop_ohm")
_GIVEN_UP: Final = "the disk takes nothing: the oldest of the joints' history is given up"
_logger = logging.getLogger(__name__)


class HistoryKeeper:
    """Samples the joints behind these links. Belongs to one event loop.

    `supply` is the way on which these joints get theirs; `planned` where a joint should be at the
    path time of its last status, in counts, None where it follows no plan. `tell` tells
    people of a gap in what is kept, once the disk takes something again.
    """

    def __init__(
        self,
        store: Store,
        links: Sequence[JointLink],
        supply: SupplyChain,
        planned: Callable[[JointLink], int | None],
        arm_now_us: Callable[[], int],
        tell: Callable[[Level, str, str], None],
    ) -> None:
        self._store = store
        self._links = {link.name: link for link in links}
        self._by_id = {link.id: link for link in links}
        self._supply = supply
        self._fitted: HopEstimate | None = None
        """The one that was taken down last."""
        self._counters = {link.id: MotionCounter(link.joint) for link in links}
        self._planned = planned
        self._errors = {link.id: PositionErrors(link.joint) for link in links}
        self._turns = itertools.cycle(self._links)
        """Of one joint after another the oldest is deleted, with each batch: it costs as much."""
        self._arm_now_us = arm_now_us
        self._collector = Collector()
        self._samples = 0
        self._now_s = 0
        self._writing: asyncio.Future[None] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._tell = tell
        self._trouble, self._giving_up = TroubleLog(_logger), TroubleLog(_logger)
        # One thread reads: whoever asks for many charts at once must not keep all others from it.
        self._reading = asyncio.Lock()

    def begin(self) -> None:
        """Sample from now on, once a second."""
        self._timer = asyncio.get_running_loop().call_later(SAMPLE_S, self._tick)

    def end(self) -> None:
        """Sample no more."""
        if self._timer is not None:
            self._timer.cancel()

    def replied(self, joint_id: str) -> None:
        """A joint may have told something new of itself."""
        link = self._by_id[joint_id]
        if link.status is not None and link.heard_us is not None:
            self._counters[joint_id].take(link.status, link.heard_us)
            self._errors[joint_id].take(link.status, self._planned(link))

    def sample(self, now_us: int, now_s: int) -> None:
        """Take down what all joints are at that arm time and Unix time; write it now and then."""
        hop_ohm = self._newly_fitted()
        for name, link in self._links.items():
            counts = self._counters[link.id].drained()
            read = _reading(link, now_us, hop_ohm[link.index])
            errors = spread_of(PLACE, self._errors[link.id].drained())
            self._collector.add(name, now_s, cell_of(read, counts) | errors)
        if self._collector.gap is not None:
            self._giving_up.add(_GIVEN_UP, _GIVEN_UP)
        self._samples += 1
        self._now_s = now_s
        if self._samples >= BATCH and self._writing is None:
            self._write()

    async def close(self) -> None:
        """Write what is not written yet."""
        self.end()
        with contextlib.suppress(StoreError):  # it is logged
            if self._writing is not None:
                await self._writing
        with contextlib.suppress(StoreError):
            self._write()
            if self._writing is not None:
                await self._writing

    async def history(
        self, joint: str, from_s: int, to_s: int, points: int, now_s: int
    ) -> JointHistory:
        """A joint from one instant of Unix time to a later one, in at most so many stretches.

        Of what is committed: the last seconds come later. Raises StoreError.
        """
        look, of_it = look_at(from_s, to_s, points, now_s), self._links[joint].joint

        def work(connection: Connection) -> JointHistory:
            # Here, as the arm's loop would feel thousands of figures.
            return history_of(of_it, look, joint_history.stretches(connection, joint, look))

        async with self._reading:
            return await self._store.read(work)

    async def wear(self, joint: str, now_s: int, from_s: int = 0) -> JointWear:
        """What a joint has done in all, but for the last seconds, and how its hop wears, by what it
        was from that Unix time on. Raises StoreError.
        """
        index, today = self._links[joint].index, now_s // joint_history.DAY_S
        hop, load = self._supply.estimate().hops[index], self._supply.at_most_load()
        since_s = max(from_s, (today - TREND_DAYS + 1) * joint_history.DAY_S)

        def work(connection: Connection) -> JointWear:
            # Here, as the arm's loop would feel it.
            # What a clock that was ahead left in days to come is none of this trend.
            means = joint_history.days(connection, joint, _HOP, since_s, now_s)
            known_s, counts = joint_history.in_all(connection, joint)
            return wear_of(joint, known_s, counts, hop_wear(index, hop, load, means, today))

        async with self._reading:
            return await self._store.read(work)

    def _newly_fitted(self) -> list[float | None]:
        """Ohms of each hop where they were fitted since this was asked last, else None: an arm
        that rests says nothing new of its hops, however long.
        """
        found = self._supply.estimate_apart()
        if found is None or found is self._fitted:
            return [None] * len(self._links)
        self._fitted = found
        return [hop.ohm for hop in found.hops]

    def _tick(self) -> None:
        self.begin()
        self.sample(self._arm_now_us(), unix_now_s())

    def _write(self) -> None:
        self._samples = 0
        cells, now_s = self._collector.drained(), self._now_s
        if not cells:
            return
        joint = next(self._turns)

        def work(connection: Connection) -> None:
            joint_history.add(connection, cells)
            joint_history.forget(connection, joint, now_s)

        self._writing = self._store.write(work)
        self._writing.add_done_callback(lambda done: self._done(cells, done))

    def _done(self, cells: Mapping[CellKey, Cell], written: asyncio.Future[None]) -> None:
        self._writing = None
        error = "it was given up" if written.cancelled() else written.exception()
        if error is None:
            self._trouble.over()
            self._giving_up.over()
            if (gap := self._collector.gap_told()) is not None:
                self._tell(Level.ATTENTION, "history-gap", _gap_words(*gap))
            if self._samples >= BATCH:  # it took long: what came meanwhile is due
                self._write()
            return
        self._collector.take_back(cells)
        self._trouble.add(str(error), f"the joints' history is not kept: {error}")


def _gap_words(from_s: int, to_s: int) -> str:
    return (
        f"the disk did not take all in time: of some joints some of what they were between "
        f"{utc_of(from_s)} and {utc_of(to_s)} is known less finely, or not at all"
    )


def _reading(link: JointLink, now_us: int, hop_ohm: float | None) -> Reading | None:
    """What is known of a joint, None where it is not heard."""
    status, quality = link.status, link.quality
    if status is None or not link.heard(now_us):
        return None
    return reading(
        link.temperature_c,
        None if status.supply_mv is None else status.supply_mv / 1000,
        quality.rtt_p99_us,
        quality.loss if quality.count else None,
        link.clock_uncertainty_us(now_us),
        hop_ohm,
        None,  # of which there is more than one in a second
    )
