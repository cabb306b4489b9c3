"""Homings, into the database as they go, with all edges. Nothing waits for it.

What the disk did not take is written with what comes next, at the latest when all ends.
"""

import asyncio
import contextlib
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from sqlalchemy import Connection

from coordinator.answers.joint_homings import JointHomings
from coordinator.config.joint import Joint
from coordinator.core.homing import HomingSequence
from coordinator.health.home_state import HomeState
from coordinator.records.home_answer import Kept, homes_of, homings_of, newest_state
from coordinator.store import Store, StoreError, accepted_homes, homings
from coordinator.store.utc import utc_now

MOST_HOMINGS: Final = 1_000
"""Of the arm, that are looked at for what a joint's home was."""
_Kept = tuple[dict[str, Any], str]
"""A homing's result, and when it was so by the wall clock."""
_logger = logging.getLogger(__name__)


class HomingKeeper:
    """Keeps the homings in `live`, and knows those in the database. Belongs to one event loop."""

    def __init__(self, store: Store, live: Mapping[int, HomingSequence]) -> None:
        self._store = store
        self._live = live
        self._seen: tuple[int, str, int] | None = None
        """Number, state, and joints that are done, as they were told last."""
        self._unsaved: dict[int, _Kept] = {}
        """The newest of each homing that is not on the disk yet."""

    def look(self, homing: HomingSequence | None) -> None:
        """Write the newest homing if there is something new in it."""
        if homing is None:
            return
        seen = homing.number, homing.state.value, len(homing.results)
        if seen == self._seen:
            return
        self._seen = seen
        self._unsaved[homing.number] = asdict(homing.snapshot()), utc_now()
        self._save()

    async def homing(self, number: int) -> dict[str, Any] | None:
        """How a homing goes or went, None if there was none of that number. Raises StoreError."""
        live = self._live.get(number)
        if live is not None:
            return asdict(live.snapshot())
        return await self._store.read(lambda connection: homings.load(connection, number))

    async def newest_of(self, joint: str) -> dict[str, Any] | None:
        """What a joint's newest homing found: `homing`, its number, with edges, middle and shift.

        None where none is known. Raises StoreError.
        """
        for number in sorted(self._live, reverse=True):
            found = self._live[number].results.get(joint)
            if found is not None:
                return {"homing": number, **asdict(found)}
        return await self._store.read(lambda connection: homings.newest_of(connection, joint))

    async def of_joint(self, joint: Joint, behind: int = 0) -> JointHomings:
        """How well a joint found its home again, homing after homing, of those behind that number.
        Raises StoreError.

        Of what is committed: what a homing finds now comes a moment later.
        """

        def work(connection: Connection) -> JointHomings:
            # Here, as the arm's loop would feel a thousand homings.
            kept = homings.newest(connection, MOST_HOMINGS)
            accepted = accepted_homes.of_joint(connection, joint.name)
            state = newest_state(joint, _newest(connection, joint, kept), kept, accepted)
            homes = [one for one in homes_of(joint.name, kept) if one.homing > behind]
            return homings_of(joint, homes, accepted, state)

        return await self._store.read(work)

    async def homes(self, joints: Sequence[Joint]) -> dict[str, HomeState]:
        """What homings made of each joint's home, of those that were homed. Raises StoreError."""

        def work(connection: Connection) -> dict[str, HomeState]:
            kept = homings.newest(connection, MOST_HOMINGS)
            found = {}
            for joint in joints:
                accepted = accepted_homes.of_joint(connection, joint.name)
                newest = _newest(connection, joint, kept)
                found[joint.name] = newest_state(joint, newest, kept, accepted)
            return {name: state for name, state in found.items() if state is not None}

        return await self._store.read(work)

    async def accept(self, joint: str, homing: int, who: str) -> None:
        """Somebody accepts a joint's home as of a homing; it is kept. Raises StoreError."""
        await self._store.confirmed(
            lambda connection: accepted_homes.add(connection, joint, homing, who)
        )

    async def half_widths_deg(self, joints: Iterable[str]) -> dict[str, float]:
        """Half the width of the home sensor of each joint, as its newest homing found it.

        Joints of which none is known are left out. Raises StoreError.
        """
        found: dict[str, float] = {}
        for joint in joints:
            newest = await self.newest_of(joint)
            slow = (
                [one["from_middle_deg"] for one in newest["edges"] if not one["fast"]]
                if newest
                else []
            )
            if len(slow) > 1:
                found[joint] = (max(slow) - min(slow)) / 2.0
        return found

    async def close(self) -> None:
        """Write what is not written yet."""
        if self._unsaved:
            with contextlib.suppress(StoreError):  # it is logged
                await self._save()

    def _save(self) -> asyncio.Future[None]:
        due = dict(self._unsaved)
        written = self._store.write(lambda connection: _save_all(connection, due))
        written.add_done_callback(lambda done: self._done(due, done))
        return written

    def _done(self, due: Mapping[int, _Kept], written: asyncio.Future[None]) -> None:
        error = "it was given up" if written.cancelled() else written.exception()
        for number, kept in due.items():
            if error is not None:
                _logger.error("homing %d is not kept: %s", number, error)
            elif self._unsaved.get(number) is kept:
                del self._unsaved[number]


def _newest(connection: Connection, joint: Joint, kept: Sequence[Kept]) -> dict[str, Any] | None:
    """What a joint's newest homing found, and its number; however long ago it was."""
    for _, homing in reversed(kept):
        found = homing.get("joints")
        if isinstance(found, dict) and isinstance(found.get(joint.name), dict):
            return {"homing": homing["number"], **found[joint.name]}
    return homings.newest_of(connection, joint.name) if len(kept) == MOST_HOMINGS else None


def _save_all(connection: Connection, due: Mapping[int, _Kept]) -> None:
    for result, utc in due.values():
        homings.save(connection, result, utc)
