"""One joint as the coordinator knows it: address, session, clock, link quality, last status."""

from collections import OrderedDict, deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from coordinator.arm import Joint
from coordinator.core.events import Found, SendFrame
from coordinator.health.joint import JointHealth
from coordinator.timing.clock import JointClock
from coordinator.timing.exchange import Exchange
from coordinator.timing.link_quality import LinkQuality
from protocol.clockmap import ClockMap
from protocol.constants import SILENCE_US
from protocol.drive import Plan, StopLevel
from protocol.messages import AnyRequest, Reject, Welcome
from protocol.points import PointsFrame
from protocol.ramp import Ramp
from protocol.states import AT_REST, JointState
from protocol.status import Status

LOST_AFTER_US = 1_000_000
"""A joint unheard for this long is lost (design section 5)."""
GONE_SPARE_US = 1_000_000
"""For a drive's way to the joint, beyond the silence and the ramp after which it is at rest."""
MAP_INTERVAL_US = 1_000_000
"""A fresh clock map every second: 100 ppm make 0.1 ms in that time, half of what slewing takes."""
RETRY_FIRST_US = 200_000
RETRY_LAST_US = 2_000_000
"""Back-off between attempts to connect, doubled from first to last. All joints are on one LAN."""
DELIVERIES = 200
"""As many as exchanges that Q is made of."""
MAPS_KEPT = 32
"""Far more than can be under way: a joint reports the map it uses by its number."""

Answer = Callable[[Reject | None, int], None]
"""Called with None for an ack, with a reject otherwise, and the arm time."""


class LinkState(StrEnum):
    """Whether a joint can be talked to."""

    ABSENT = "absent"
    CONNECTING = "connecting"
    UP = "up"
    REFUSED = "refused"
    """It answered and would not have us, or is not what it must be."""
    CONFLICT = "conflict"
    """Two announce this id; neither is used."""


def slowest(links: Iterable["JointLink"]) -> "JointLink":
    """The link that needs longest to get a repeated state across and back."""
    return max(links, key=lambda link: link.quality.q_us)


def rests_after_us(ramp: Ramp) -> int:
    """How long after the last drive that permits it a joint can move: silence, and the ramp."""
    return SILENCE_US + round(ramp.duration_us) + GONE_SPARE_US


@dataclass(slots=True)
class _Pending:
    answer: Answer
    sent_us: int


class JointLink:
    """State of the link to one joint of the arm. Sends through the queue it was given."""

    def __init__(self, joint: Joint, index: int) -> None:
        self.joint = joint
        self.index = index
        self.instances: dict[str, Found] = {}
        self.state = LinkState.ABSENT
        self.message = "not found on the network"
        self.clock = JointClock()
        self.quality = LinkQuality()
        self.health = JointHealth(joint)
        self.welcome: Welcome | None = None
        self.configured = False
        self.status: Status | None = None
        self.heard_us: int | None = None
        self.sequence = 0
        self.energise = False
        """Whether drives ask for its drivers; False again after a boot, until a new command."""
        self.stop_wanted = StopLevel.NONE
        """Carried in every drive; NONE again once the joint has confirmed it."""
        self.stop_us = 0
        """When a stop was asked for last."""
        self.clear_wanted = False
        """Whether a latched stop or fault is to be cleared as soon as the joint takes it."""
        self.clearing = False
        """Whether a *clear* is under way."""
        self.homing_number = 0
        """Of the last homing asked for; grows for ever, so none is obeyed twice."""
        self.streams = 0
        """How often its stream was opened. For people, as is the next."""
        self.boots_seen = 0
        """How often it had restarted when it was heard again."""
        self.retry_us: int | None = None
        self.clock_epoch = 0
        """Grows whenever joint times from before mean nothing any more."""
        self.delivery_p995_us = 0
        """99.5th percentile of the stream's last 200 delivery times, 0 before the first."""
        self._down_code = ""
        self._stop_from = 0
        self._delivery_us: deque[int] = deque(maxlen=DELIVERIES)
        self._retry_after_us = RETRY_FIRST_US
        self._maps: OrderedDict[int, ClockMap] = OrderedDict()
        self._map_issued_us = 0
        self._map_number = 0
        self._pending: dict[int, _Pending] = {}
        self._tokens: dict[int, int] = {}

    @property
    def name(self) -> str:
        """The joint's name in the arm file."""
        return self.joint.name

    @property
    def up(self) -> bool:
        """Whether the session stands and the stream is open."""
        return self.state is LinkState.UP

    @property
    def in_session(self) -> bool:
        """Whether datagram keys are agreed: they outlive a stream that broke."""
        return self.welcome is not None and self.state not in (
            LinkState.REFUSED,
            LinkState.CONFLICT,
        )

    @property
    def connect_us(self) -> int | None:
        """When to connect next, None while there is nothing to connect to."""
        return self.retry_us if len(self.instances) == 1 else None

    @property
    def at_rest(self) -> bool:
        """Whether the last status says so."""
        return self.status is not None and self.status.state in AT_REST

    def in_state(self, *states: JointState) -> bool:
        """Whether the last status reports one of these states."""
        return self.status is not None and self.status.state in states

    def heard(self, now: int, within_us: int = LOST_AFTER_US) -> bool:
        """Whether a status came within a time."""
        return self.heard_us is not None and now - self.heard_us <= within_us

    def is_twin(self, found: Found, now: int) -> bool:
        """Whether this is a second joint under the same DNS-SD name.

        A joint that was just heard at one address has not moved to another. Names should differ
        (RFC 6762 §9), but two that begin at once on a busy network can miss each other.
        """
        known = self.instances.get(found.instance)
        if known is None or (known.host, known.stream_port) == (found.host, found.stream_port):
            return False
        return self.state is LinkState.CONFLICT or (self.up and self.heard(now))

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

    # ---- session ------------------------------------------------------------------------

    def linked(self, welcome: Welcome) -> bool:
        """Take a finished handshake; True when the joint has booted since the last one."""
        rebooted = self.welcome is not None and self.welcome.boot != welcome.boot
        self.streams += 1
        self.boots_seen += rebooted
        if self.welcome is None or rebooted:
            self.renew()
        self.welcome = welcome
        self.state, self.message, self._down_code = LinkState.UP, "", ""
        self._retry_after_us = RETRY_FIRST_US
        self.retry_us = None
        return rebooted

    def begin_session(self) -> None:
        """A new session: drives are numbered from its beginning, a stop that is wanted stays so."""
        self.renew()
        self.welcome = None
        self.sequence = 0
        self._stop_from = 0

    def renew(self) -> None:
        """Forget all that belonged to an earlier boot or session."""
        self.clock = JointClock()
        self.forget_maps()
        self.quality = LinkQuality()
        self.status = None
        self.heard_us = None
        self.configured = False
        self.energise = False

    def replied(self, status: Status, at_us: int) -> bool:
        """Take a status, True unless it is older than the one known."""
        if self.status is not None and status.sequence < self.status.sequence:
            return False
        self.status, self.heard_us = status, at_us
        # Only a status that has seen the stop confirms it: the latch may be an older one, about
        # to be cleared.
        if (
            self.stop_wanted
            and status.stop >= self.stop_wanted
            and status.sequence > self._stop_from
            and not self.clearing
        ):
            self.stop_wanted = StopLevel.NONE
        return True

    def stop(self, level: StopLevel, now: int) -> None:
        """Carry a stop in every drive until the joint has latched it."""
        self.stop_us = now
        self.stop_wanted = max(self.stop_wanted, level)
        self._stop_from = self.sequence
        self.clear_wanted = False
        if level is not StopLevel.STOP:
            self.energise = False

    def is_news(self, code: str) -> bool:
        """Whether a stream's end differs in kind from the one before."""
        return self.up or code != self._down_code

    def dropped(self, state: LinkState, message: str, now: int, code: str = "") -> None:
        """The stream is gone: answer what waited, and try again after a while."""
        self.state, self.message, self._down_code = state, message, code
        self.retry_us = now + self._retry_after_us
        self._retry_after_us = min(2 * self._retry_after_us, RETRY_LAST_US)
        self.answer_all(f"the stream to {self.name} ended", now)

    def answer_all(self, message: str, now: int) -> None:
        """Reject every request that still waits for its answer."""
        pending, self._pending = self._pending, {}
        self._tokens.clear()
        for waiting in pending.values():
            waiting.answer(Reject(ref=0, code="stream-closed", message=message), now)

    # ---- clock --------------------------------------------------------------------------

    def observe(self, exchange: Exchange, now: int) -> int | None:
        """Take in an exchange. Where it shows that the clock was wrong: since which clock epoch.

        One contradiction does not tell when a clock went astray, nor whether by a step or by its
        crystal, so nothing is believed that it said since it was found. A crystal that is out of
        tolerance is the same one in all boots.
        """
        if self.clock.observe(exchange, now):
            return None
        since = 0 if self.clock.out_of_tolerance(now) else self.clock_epoch
        self.forget_maps()
        return since

    def forget_maps(self) -> None:
        """The clock was stepped or is another one: no map from before is true any more."""
        self._maps.clear()
        self.clock_epoch += 1

    def clock_map(self, now: int) -> ClockMap | None:
        """The map to send now: a fresh one at intervals, none before the clock is locked."""
        if not self.clock.locked:
            return None
        if not self._maps or now - self._map_issued_us >= MAP_INTERVAL_US:
            self._map_number += 1
            self._map_issued_us = now
            self._maps[self._map_number] = self.clock.make_map(self._map_number, now)
            while len(self._maps) > MAPS_KEPT:
                self._maps.popitem(last=False)
        return next(reversed(self._maps.values()))

    def clock_bound_us(self, now: int) -> float | None:
        """Clock error bound of the map that the joint uses, None while there is none."""
        if self.status is None or not self.clock.locked:
            return None
        used = self._maps.get(self.status.map_number)
        if used is None:
            return None
        return self.clock.bound_us(used, self.status.remainder_us, now)

    # ---- requests -----------------------------------------------------------------------

    def request(
        self, token: int, content: AnyRequest | PointsFrame, answer: Answer, now: int
    ) -> SendFrame:
        """A frame to send, whose answer will be given to `answer`."""
        self._pending[token] = _Pending(answer, now)
        return SendFrame(self.joint.id, token, content)

    def frame_sent(self, token: int, number: int, now: int) -> None:
        """The shell has sent a frame under a number."""
        self._tokens[number] = token
        if token in self._pending:
            self._pending[token].sent_us = now

    def answered(self, ref: int, reject: Reject | None, now: int) -> None:
        """An ack or reject came; one that nobody waits for is ignored."""
        waiting = self._pending.pop(self._tokens.pop(ref, -1), None)
        if waiting is None:
            return
        self._delivery_us.append(now - waiting.sent_us)
        times = sorted(self._delivery_us)
        self.delivery_p995_us = times[-(-len(times) * 995 // 1000) - 1]
        waiting.answer(reject, now)
