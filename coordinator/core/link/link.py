"""One joint as the coordinator knows it: what it said last, and the parts that deal with it."""

from collections.abc import Iterable
from typing import Final

from coordinator.config.arm import Joint
from coordinator.core.events import StreamAddress
from coordinator.core.link.connection import Connection, LinkState
from coordinator.core.link.orders import Orders
from coordinator.core.link.requests import Requests
from coordinator.core.link.time_sync import TimeSync
from coordinator.health.home_state import HomeState
from coordinator.health.home_wandered import why_wandered
from coordinator.health.joint import JointHealth
from coordinator.timing.clock import JointClock
from coordinator.timing.link_quality import LinkQuality
from protocol.clockmap import ClockMap
from protocol.constants import SILENCE_US, STREAM_PATH
from protocol.drive import Plan, StopLevel
from protocol.messages import Welcome
from protocol.ramp import Ramp
from protocol.states import AT_REST, JointState
from protocol.status import Status

LOST_AFTER_US: Final = 1_000_000
"""A joint unheard for this long is lost (design section 5)."""
GONE_SPARE_US: Final = 1_000_000
"""For a drive's way to the joint, beyond the silence and the ramp after which it is at rest."""


def slowest(links: Iterable["JointLink"]) -> "JointLink":
    """The link that needs longest to get a repeated state across and back."""
    return max(links, key=_worst_delay_us)


def _worst_delay_us(link: "JointLink") -> int:
    return link.quality.worst_delay_us


def rests_after_us(ramp: Ramp) -> int:
    """How long after the last drive that permits it a joint can move: silence, and the ramp."""
    return SILENCE_US + round(ramp.duration_us) + GONE_SPARE_US


def rests_by_us(links: Iterable["JointLink"], ramp: Ramp) -> int | None:
    """By when joints that are silent rest by their own rules; None if none was let move."""
    let_move = [at_us for link in links if (at_us := link.orders.let_move_us) is not None]
    return max(let_move) + rests_after_us(ramp) if let_move else None


class JointLink:
    """One joint of the arm. Each part changes by its own methods; what touches several is here."""

    def __init__(self, joint: Joint, index: int, idle_share: float = 1.0) -> None:
        """`idle_share`: of its hold current, that the joint has after long at rest."""
        self.joint = joint
        self.id = joint.id
        self.name = joint.name
        """The joint's name in the arm file."""
        self.index = index
        fixed = StreamAddress(*joint.address, STREAM_PATH) if joint.address else None
        self.connection = Connection(fixed)
        self.sync = TimeSync()
        self.requests = Requests(joint.id)
        self.orders = Orders()
        self.quality = LinkQuality()
        self.health = JointHealth(joint, idle_share)
        self.status: Status | None = None
        self.heard_us: int | None = None
        self.was_heard = False
        """Whether it answered once, in this session or before: only then it can be lost."""
        self.home: HomeState | None = None
        """What its homings found, of this coordinator and those before; None before the first."""
        self.faults_told: frozenset[str] = frozenset()
        """Words of the faults of which people were told, until it has none."""
        self.doubt = ""
        """Why its position cannot be believed though it says that it is homed, until it says that
        it is not: it is asked to (`Membership`)."""

    @property
    def up(self) -> bool:
        """Whether the session stands and the stream is open."""
        return self.connection.up

    @property
    def in_session(self) -> bool:
        """Whether datagram keys are agreed: they outlive a stream that broke."""
        return self.connection.in_session

    @property
    def welcome(self) -> Welcome | None:
        """What the joint said of itself when the session began."""
        return self.connection.welcome

    @property
    def reduces_current(self) -> bool:
        """Whether it says that it can reduce its current at rest."""
        return self.welcome is not None and self.welcome.capabilities.idle_current

    @property
    def on_trial(self) -> bool:
        """Whether the image that it runs is not confirmed yet: a status is the proof that it is."""
        return self.welcome is not None and self.welcome.on_trial and self.status is None

    @property
    def clock(self) -> JointClock:
        """What is known of the joint's clock."""
        return self.sync.clock

    # ---- what its last status says ----------------------------------------------------------

    @property
    def state(self) -> JointState | None:
        """The state that the last status reports."""
        return self.status.state if self.status is not None else None

    @property
    def faults(self) -> frozenset[str]:
        """Those that the last status tells, none where there is none yet."""
        return frozenset(self.status.faults.words if self.status is not None else ())

    @property
    def at_rest(self) -> bool:
        """Whether the last status says so."""
        return self.status is not None and self.status.state in AT_REST

    @property
    def homed(self) -> bool:
        """Whether its last status says so, and nothing speaks against it."""
        status = self.status
        return status is not None and status.homed and not self.doubt and not self.wandered

    @property
    def wandered(self) -> str:
        """Why it does not count as homed until somebody has looked; empty where it may."""
        return why_wandered(self.joint, self.home)

    @property
    def temperature_c(self) -> float | None:
        """At its driver, by its last status; None where that tells none that can be believed."""
        if self.status is None or self.heard_us is None:
            return None
        centi_c = self.status.temperature_centi_c
        celsius = None if centi_c is None else centi_c / 100
        return self.health.sensor.believed(celsius, self.heard_us)

    def in_state(self, *states: JointState) -> bool:
        """Whether the last status reports one of these states."""
        return self.status is not None and self.status.state in states

    def heard(self, now: int, within_us: int = LOST_AFTER_US) -> bool:
        """Whether a status came within a time."""
        return self.heard_us is not None and now - self.heard_us <= within_us

    def complies(self, plan: Plan) -> bool:
        """Whether the last status echoes this very plan."""
        return self.status is not None and self.status.plan == plan.number

    def finished(self, trajectory: int) -> bool:
        """Whether the last status reports the end of this trajectory."""
        status = self.status
        return (
            status is not None
            and status.state is JointState.FINISHED
            and status.trajectory == trajectory
        )

    def rests(self, now: int) -> bool:
        """Whether it surely rests, and moves no more without another command."""
        return self.heard(now) and self._said_that_it_rests

    @property
    def _said_that_it_rests(self) -> bool:
        """Whether it rests by its last status, and that tells of all that let it move."""
        status = self.status
        return (
            status is not None and self.at_rest and status.sequence > self.orders.let_move_sequence
        )

    def clock_uncertainty_us(self, now: int) -> float | None:
        """Clock error bound of the map that the joint uses, None while there is none."""
        return self.sync.uncertainty_us(self.status, now)

    # ---- what happens -----------------------------------------------------------------------

    def connecting(self, address: StreamAddress, now: int) -> None:
        """A stream is being opened, in place of one that was open."""
        if self.up:
            self.requests.answer_all(f"{self.name} is being connected anew", now)
        self.connection.connecting(address, now)

    def linked(self, welcome: Welcome, now: int) -> bool:
        """Take a finished handshake; True when the joint has booted since the last one."""
        is_first = self.welcome is None
        rebooted = self.connection.linked(welcome, now)
        if is_first or rebooted:
            self._renew()
        return rebooted

    def dropped(self, state: LinkState, code: str, message: str, now: int) -> None:
        """The stream is gone: answer what waited, and try again after a while."""
        self.connection.dropped(state, code, message, now)
        self.requests.answer_all(f"the stream to {self.name} ended", now)

    def begin_session(self, now: int) -> None:
        """A new session: the joint is connected anew."""
        self._renew()
        self.connection.begin_session(now)
        self.orders.begin_session()
        self.requests.answer_all(f"the stream to {self.name} ended", now)

    def _renew(self) -> None:
        """Forget all that belonged to an earlier boot or session."""
        self.sync.renew()
        self.orders.renew()
        self.quality = LinkQuality()
        self.health.sensor.begin_session()
        self.status = None
        self.heard_us = None
        self.faults_told = frozenset()

    def replied(self, status: Status, at_us: int) -> bool:
        """Take a status, True unless it is older than the one known."""
        if self.status is not None and status.sequence < self.status.sequence:
            return False
        if self.status is not None and self.status.faults and not status.faults:
            self.faults_told = frozenset()
        if not status.homed or status.state is JointState.HOMING:
            self.doubt = ""
        self.status, self.heard_us, self.was_heard = status, at_us, True
        self.orders.confirmed_by(status)
        return True

    # ---- what is asked of it ----------------------------------------------------------------

    def stop(self, level: StopLevel, now: int) -> None:
        """Carry a stop in every drive until the joint has latched it."""
        self.orders.stop(level, now)

    def clock_map(self, now: int) -> ClockMap | None:
        """The map for the drive that is sent now, of which the orders know whether it lets it move.

        The joint surely rests where it said so in answer to a drive after the last that did.
        """
        return self.sync.clock_map(self.status, now, at_rest=self._said_that_it_rests)
