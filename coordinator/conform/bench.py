"""The joint under test, and how each check finds it: at rest, in a session of its own."""

import asyncio
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final, Self

from coordinator.codes.os_words import os_words
from coordinator.conform.check import Blocked, Lost, NotMade, Wrong
from coordinator.conform.datagrams import Datagrams
from coordinator.conform.heard import Heard
from coordinator.conform.stream import Greeting, Place, Stream, greet, proved
from coordinator.conform.talk import LEASE_US, Talk
from coordinator.links.clock import arm_now_us
from protocol.configuration import Configuration
from protocol.constants import US
from protocol.drive import Mode, StopLevel
from protocol.keys import fingerprint
from protocol.messages import Clear, Configure, Discard, encode
from protocol.states import AT_REST
from protocol.status import Status

BUSY_S: Final = 20.0
"""For a joint that brakes, or that another coordinator has just let go of."""
SLOW_DEG_S: Final = 2.0
SMALL_DEG: Final = 2.0


@dataclass(frozen=True, slots=True)
class Target:
    """What is to be checked, and how far one may go with it."""

    place: Place
    configuration: Configuration
    heard: Heard | None
    """What it announced; None where nothing was heard."""
    interface: str
    service_type: str
    may_move: bool = False
    reboot_command: str = ""
    coordinator: bytes = field(default_factory=lambda: os.urandom(16))
    """The id of whoever checks: a joint that has just heard it takes it again at once."""


class Bench:
    """A joint and whoever checks it. Opened and closed by `async with`."""

    def __init__(self, target: Target) -> None:
        self.target = target
        self.place = target.place
        self.configuration = target.configuration
        self.body = encode(Configure(configuration=target.configuration))
        """Of the configuration that every check begins with."""
        self.coordinator = target.coordinator
        self._talk: Talk | None = None

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.end()

    @property
    def talk(self) -> Talk:
        """The session of the check that is made."""
        assert self._talk is not None
        return self._talk

    @property
    def welcome(self) -> Greeting:
        """The greeting of the check's own stream."""
        return self.talk.stream.greeting

    async def fresh(self) -> None:
        """A new session, at rest, cleared and configured. Raises Blocked, Lost."""
        try:
            await self.end()
            self._talk = await self.begin()
            await self._settle(self._talk)
        except Wrong as error:
            raise Blocked(f"no fresh session with it: {error}") from error

    async def begin(self, session: int | None = None, coordinator: bytes | None = None) -> Talk:
        """A session with its first stream. Raises Wrong, Lost."""
        session = secrets.randbits(64) if session is None else session
        end_us = arm_now_us() + round(BUSY_S * US)
        while True:
            greeting = await greet(self.place, session, coordinator or self.coordinator)
            if not greeting.is_proved:
                raise Lost("it does not hold the key of the data folder")
            stream = await proved(greeting)
            if isinstance(stream, Stream):
                break
            await greeting.socket.close()
            if stream not in ("busy", "foreign") or arm_now_us() > end_us:
                raise Wrong("a new session at rest", f"reject {stream}")
            await asyncio.sleep(0.5)
        datagrams = await Datagrams.open(self.place.host, greeting.welcome.udp)
        return Talk(session, stream, datagrams, self.target.may_move)

    def adopt(self, talk: Talk) -> None:
        """Go on with a session that a check has begun, after it ended the one before."""
        assert self._talk is None
        self._talk = talk

    async def again(self) -> Stream:
        """Another stream of the session in force, in place of the one there is."""
        greeting = await greet(self.place, self.talk.session, self.coordinator)
        stream = await proved(greeting)
        if isinstance(stream, str):
            raise Wrong("another stream of the session in force", f"reject {stream}")
        self.talk.stream = stream
        return stream

    async def end(self) -> None:
        """Let go of it, at rest. What is latched stays so until the next session clears it."""
        talk, self._talk = self._talk, None
        if talk is not None:
            with suppress(Wrong, Lost, OSError):
                await talk.rest()
            talk.datagrams.close()
            await talk.stream.close()
        await self.place.close_all()

    async def stop(self) -> str | None:
        """Stop it by stop level 1, at once; a sentence where that is not known to have worked."""
        if self._talk is None:
            return None
        try:
            await self._talk.until(
                "rest, stopped",
                lambda s: s.state in AT_REST and s.stop >= StopLevel.STOP,
                5.0,
                stop=StopLevel.STOP,
            )
        except (Wrong, Lost, OSError) as error:
            why = os_words(error)
            return f"the joint was asked to stop, and it is not known whether it did: {why}"
        return None

    async def _settle(self, talk: Talk) -> None:
        status = await talk.drive()
        if status.state not in AT_REST:
            status = await talk.rest()
        if status.trajectory:
            await talk.require(Discard())
        digest = talk.stream.greeting.welcome.configuration
        if digest != fingerprint(self.body):
            await talk.require(self.body)
        if status.stop or status.faults:
            await talk.require(Clear())

    async def configured(self, **changes: object) -> Configuration:
        """Another configuration for the rest of this check. Raises Wrong."""
        changed = Configuration.model_validate(
            {**self.configuration.model_dump(), **changes}, strict=False
        )
        await self.talk.require(Configure(configuration=changed))
        return changed

    async def unhomed(self) -> Status:
        """A joint that does not know its position: it gets another geometry for a moment."""
        status = await self.talk.drive()
        if status.homed:
            homing = self.configuration.homing
            other = homing.model_copy(update={"home": homing.home + 1})
            await self.configured(homing=other)
            await self.talk.require(self.body)
            status = await self.talk.drive()
        if status.homed:
            raise Blocked("another geometry left it homed")
        return status

    # ---- motions, small and slow ------------------------------------------------------------

    @property
    def per_degree(self) -> float:
        """Counts of a degree of its output."""
        return self.configuration.counts_per_turn / 360.0

    @property
    def slow(self) -> int:
        """Counts/s of a slow jog."""
        config = self.configuration
        return max(1, min(round(SLOW_DEG_S * self.per_degree), config.velocity, config.jog_unhomed))

    @property
    def small(self) -> int:
        """Counts of a small turn."""
        return round(SMALL_DEG * self.per_degree)

    def inward(self, position: int) -> int:
        """The sign of the way on which there is most room."""
        low, high = self.configuration.range_low, self.configuration.range_high
        if low is None or high is None:
            return 1
        if min(position - low, high - position) > 6 * self.small:
            return 1 if position <= self.configuration.homing.home else -1
        return 1 if position < (low + high) // 2 else -1

    def braking(self, velocity: float) -> float:
        """Counts in which it comes to rest at its own limit."""
        return velocity * velocity / (2.0 * self.configuration.acceleration)

    async def jogged(self, velocity: int) -> Status:
        """A jog that has got up to its velocity."""
        return await self.talk.until(
            f"a jog at {velocity} counts/s",
            lambda s: s.velocity == velocity,
            5.0,
            mode=Mode.JOG,
            energise=True,
            jog_velocity=velocity,
            within_us=LEASE_US,
        )

    def require_reboot_command(self) -> str:
        """The command that restarts the joint. Raises NotMade."""
        if not self.target.reboot_command:
            raise NotMade("it takes a restart of the joint; --reboot-command was not given")
        return self.target.reboot_command
