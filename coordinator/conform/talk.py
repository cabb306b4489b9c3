"""One session with the joint under test: drives by datagram, requests on its stream."""

import asyncio
from collections.abc import Callable, Sequence
from typing import Any, Final, TypedDict, Unpack

from coordinator.conform.check import Blocked, Wrong
from coordinator.conform.datagrams import (
    AGAIN_S,
    DRIVE_S,
    QUIET_S,
    Answered,
    Datagrams,
    new_transmit,
)
from coordinator.conform.stream import Stream
from coordinator.links.clock import arm_now_us
from protocol.clockmap import ClockMap
from protocol.constants import ACTIVE_INTERVAL_US, US
from protocol.drive import Drive, Mode, Plan, StopLevel, encode_drive
from protocol.errors import DatagramError
from protocol.keys import Channel, Direction
from protocol.messages import encode
from protocol.points import Point, encode_points, frames_of
from protocol.states import AT_REST
from protocol.status import Status, decode_status

LEASE_US: Final = 700_000
"""Of a permission to move where its end is not what is looked at: a hitch here is not the joint's
fault. A coordinator gives a third of it; all motions here are slow."""
REST_S: Final = 15.0
"""For any of the motions here to come to rest, once it is not asked for any more."""


class Fields(TypedDict, total=False):
    """Of a drive, but its session and sequence. `within_us` is an expiry, from the sending on."""

    mode: Mode
    energise: bool
    stop: StopLevel
    output_mask: int
    output_values: int
    clock_map: ClockMap | None
    plan: Plan | None
    permit_us: int | None
    jog_velocity: int
    jog_target: int | None
    within_us: int
    homing_number: int
    full_current: bool


def told(status: Status) -> str:
    """A status for people."""
    return (
        f"{status.state.word}, plan {status.plan}, reason {status.reason.name.lower()}, position "
        f"{status.position}, velocity {status.velocity}, path time {status.path_us} µs, stop "
        f"{status.stop:d}"
    )


class Talk:
    """A session. Nothing that could move the motor leaves it unless `may_move`."""

    def __init__(self, session: int, stream: Stream, datagrams: Datagrams, may_move: bool) -> None:
        self.session = session
        self.stream = stream
        self.datagrams = datagrams
        self.sequence = 0
        self.plan_number = 0
        self.homing_number = 0
        self.map: ClockMap | None = None
        self.answered: Answered | None = None
        """The exchange of the newest drive."""
        self.seen: list[Status] = []
        """All statuses of this session."""
        self.to_joint, self.to_coordinator = (
            stream.greeting.key(Channel.DATAGRAM, direction) for direction in Direction
        )
        self._may_move = may_move

    # ---- datagrams --------------------------------------------------------------------------

    def sealed(self, **fields: Unpack[Fields]) -> tuple[bytes, int]:
        """The next drive's datagram and its transmit number."""
        self.sequence += 1
        transmit = new_transmit()
        return encode_drive(self._drive(**fields), transmit, self.to_joint), transmit

    async def drive(self, **fields: Unpack[Fields]) -> Status:
        """Send a drive, again and again until one is answered; the status. Raises Wrong."""
        waiting: dict[int, int] = {}
        end_us = arm_now_us() + round(DRIVE_S * US)
        while arm_now_us() < end_us:
            data, transmit = self.sealed(**fields)
            waiting[transmit] = arm_now_us()
            self.datagrams.send(data)
            answered = await self.datagrams.reply(waiting, AGAIN_S)
            if answered is not None:
                self.answered = answered
                return self._read(answered.data)
        raise Wrong("a reply to a drive", f"none to {len(waiting)} in {DRIVE_S:g} s")

    async def until(
        self,
        expected: str,
        test: Callable[[Status], bool],
        within_s: float = REST_S,
        **fields: Unpack[Fields],
    ) -> Status:
        """Repeat a drive until a status is so. Raises Wrong where none is."""
        end_us = arm_now_us() + round(within_s * US)
        while True:
            status = await self.drive(**fields)
            if test(status):
                return status
            if arm_now_us() > end_us:
                raise Wrong(expected, told(status))
            await asyncio.sleep(ACTIVE_INTERVAL_US / US)

    async def keep(self, for_s: float, **fields: Unpack[Fields]) -> list[Status]:
        """Repeat a drive for a while; all statuses."""
        end_us, first = arm_now_us() + round(for_s * US), len(self.seen)
        while arm_now_us() < end_us:
            await self.drive(**fields)
            await asyncio.sleep(ACTIVE_INTERVAL_US / US)
        return self.seen[first:]

    async def rest(self) -> Status:
        """Ask for nothing until it is at rest."""
        return await self.until("rest once nothing is asked for", lambda s: s.state in AT_REST)

    async def refused(self, data: bytes) -> None:
        """A datagram must not be answered, and the joint must go on answering others."""
        await self.datagrams.require_silence(data)
        await self.drive()

    def _drive(self, **fields: Unpack[Fields]) -> Drive:
        if not self._may_move:
            moving = fields.get("energise") or fields.get("mode") in (Mode.JOG, Mode.HOME)
            assert not moving, "a check that may move the motor does not say so"
            assert fields.get("stop", 0) < StopLevel.STOP_AND_RELEASE, "it lets go of the drivers"
        values: dict[str, Any] = {"clock_map": self.map, **fields}
        within_us = values.pop("within_us", None)
        if within_us is not None:
            values["expiry_us"] = arm_now_us() + within_us
        return Drive(self.session, self.sequence, **values)

    def _read(self, data: bytes) -> Status:
        try:
            _, status = decode_status(data, self.to_coordinator)
        except DatagramError as error:
            raise Wrong("a reply with a status", f"{error.code}: {error.message}") from error
        self.seen.append(status)
        return status

    # ---- the clock --------------------------------------------------------------------------

    async def learn(self) -> ClockMap:
        """Take a clock map for what follows, from the best of a few exchanges."""
        found = [await self.datagrams.bare() for _ in range(8)]
        best = min(found, key=lambda one: one.round_trip_us)
        number = self.map.number + 1 if self.map is not None else 1
        arm_us, joint_us = (best.t1_us + best.t4_us) // 2, (best.t2_us + best.t3_us) / 2.0
        self.map = ClockMap(number, arm_us, round(joint_us), 0)
        return self.map

    # ---- requests ---------------------------------------------------------------------------

    async def ask(self, message: Any) -> str:
        """A request, as a message or as the bytes of its body; "ack" or the reject's code."""
        body = message if isinstance(message, bytes) else encode(message)
        return await self.stream.ask(body)

    async def require(self, message: Any, answer: str = "ack") -> None:
        """Raises Wrong unless a request is answered so."""
        came = await self.ask(message)
        if came != answer:
            raise Wrong(answer if answer == "ack" else f"reject {answer}", came)

    async def points(self, points: Sequence[Point], trajectory: int = 7, first: int = 0) -> str:
        """Send points in as few frames as may be; the first answer that is no ack, or "ack"."""
        for frame in frames_of(trajectory, first, points):
            answer = await self.stream.ask(encode_points(frame))
            if answer != "ack":
                return answer
        return "ack"

    # ---- what checks begin with -------------------------------------------------------------

    def arm(self, stand_us: int = 0, trajectory: int = 7) -> Plan:
        """A new plan without change."""
        self.plan_number += 1
        return Plan(self.plan_number, trajectory, stand_us)

    async def home(self) -> Status:
        """Home it unless it is homed, and have its drivers on. Raises Blocked."""
        await self.learn()
        status = await self.drive(energise=True)
        if not status.homed:
            self.homing_number = status.homing_number + 1
            try:
                await self.until(
                    "an end of homing",
                    lambda s: s.homing_number == self.homing_number and s.state in AT_REST,
                    180.0,
                    mode=Mode.HOME,
                    energise=True,
                    homing_number=self.homing_number,
                    within_us=LEASE_US,
                )
            except Wrong as error:
                raise Blocked(f"it could not be homed: {error}") from error
        status = await self.drive(energise=True, full_current=True)
        if not (status.homed and status.energised):
            raise Blocked(f"it could not be homed: {told(status)}")
        await self.until(
            "the full current", lambda s: not s.reduced, 2.0, energise=True, full_current=True
        )
        return status


async def quiet() -> None:
    """Let a little time pass in which something may come that must not."""
    await asyncio.sleep(QUIET_S)
