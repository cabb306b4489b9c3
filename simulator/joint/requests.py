"""The requests of the stream: configure, prepare, discard, clear, blink. None moves.

Those about images are `update`'s.
"""

from typing import Final

from protocol.configuration import Configuration
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.drive import StopLevel
from protocol.messages import AnyRequest, Blink, Configure, Discard, Install, Prepare, Update
from protocol.points import PointsFrame
from protocol.ramp import Ramp
from protocol.states import ON_PATH, JointState, Trigger
from simulator.joint.body import Body
from simulator.joint.light import Lamp
from simulator.joint.playing import Player
from simulator.joint.refusal import Refusal
from simulator.joint.safety import Safety
from simulator.joint.update import Updater

_WITH_TRAJECTORY: Final = frozenset(
    {JointState.PREPARED, JointState.ARMED, JointState.HELD, JointState.FINISHED}
)


class RequestHandler:
    """Answers requests: each is carried out wholly, or refused and changes nothing."""

    def __init__(
        self,
        body: Body,
        player: Player,
        safety: Safety,
        lamp: Lamp,
        updater: Updater,
        max_step_rate_hz: int,
    ) -> None:
        self._body = body
        self._player = player
        self._safety = safety
        self._max_speed = max_step_rate_hz * COUNTS_PER_MICROSTEP
        self._lamp = lamp
        self._updater = updater

    def request(self, message: AnyRequest, asked: StopLevel, now: float) -> Refusal | None:
        """One request; `asked` is the stop level of the newest drive."""
        if isinstance(message, Blink):
            self._lamp.blink(message.seconds, now)
        elif isinstance(message, Update | Install):
            return self._updater.request(message)
        elif not self._body.at_rest:
            return Refusal("not-at-rest", f"the joint is {self._body.state.word}, not at rest")
        elif self._body.path.pending is not None:
            return Refusal("not-at-rest", "the joint has a start pending")
        elif isinstance(message, Configure):
            return self._configure(message.configuration, now)
        elif isinstance(message, Prepare):
            return self._prepare(message.trajectory)
        elif isinstance(message, Discard):
            self.discard()
        else:
            return self._safety.clear(asked)
        return None

    def points(self, frame: PointsFrame, now: float) -> Refusal | None:
        """Take points into the buffer."""
        body, buffer = self._body, self._body.path.buffer
        if body.configuration is None:
            return _UNCONFIGURED
        if body.state is JointState.UNHOMED:
            return _UNHOMED
        if body.state is JointState.FAULTED:
            return self._faulted()
        at_rest = body.state in (JointState.FINISHED, JointState.READY)
        if not at_rest and body.state not in ON_PATH:
            return Refusal("not-at-rest", f"the joint is {body.state.word}, not at rest")
        if buffer.trajectory and body.clock is not None:
            buffer.free(body.path.at(body.arm(now)))
        refusal = buffer.take(frame, body.configuration)
        if refusal is None:
            self._player.points_came(now)
        return refusal

    def discard(self) -> None:
        """At rest: forget trajectory and plan."""
        if self._body.state in _WITH_TRAJECTORY:
            self._body.follow(Trigger.DISCARD)
        self._player.discard()

    def _configure(self, new: Configuration, now: float) -> Refusal | None:
        body, old = self._body, self._body.configuration
        if body.path.buffer.trajectory:
            loaded = body.path.buffer.trajectory
            return Refusal("trajectory-loaded", f"trajectory {loaded} is loaded, discard it first")
        if new.velocity > self._max_speed:
            return Refusal(
                "configuration",
                f"velocity {new.velocity} counts/s, this joint's steps allow {self._max_speed}",
            )
        body.restore_current(now)
        body.configuration = new
        body.path.ramp = Ramp(new.ramp)
        if old is not None and old.geometry() != new.geometry():
            body.homed = False
            if body.state is JointState.READY:
                body.follow(Trigger.UNHOME)
        return None

    def _prepare(self, trajectory: int) -> Refusal | None:
        body, buffer = self._body, self._body.path.buffer
        if body.configuration is None:
            return _UNCONFIGURED
        if body.state is JointState.UNHOMED:
            return _UNHOMED
        if body.state is JointState.FAULTED:
            return self._faulted()
        if body.latched:
            return Refusal("stop-latched", f"stop {body.latched:d} is latched, clear it first")
        if not body.energised:
            return Refusal("not-energised", "the drivers are off")
        if buffer.trajectory not in (0, trajectory):
            return Refusal(
                "trajectory-loaded",
                f"trajectory {buffer.trajectory} is loaded, not {trajectory}",
            )
        if body.state is JointState.PREPARED:
            return None
        if body.state is not JointState.READY:
            return Refusal(
                "trajectory-loaded",
                f"trajectory {trajectory} is {body.state.word}, discard it to play it again",
            )
        first = buffer.first
        if first is None or (buffer.next_index < 2 and buffer.last is None):
            return Refusal(
                "points-missing", f"{buffer.next_index} points of trajectory {trajectory} are here"
            )
        position = round(body.rest_position)
        if position != first.position:
            return Refusal(
                "position",
                f"the joint stands at {position} counts, trajectory {trajectory} begins at "
                f"{first.position}",
            )
        body.rest_position = float(first.position)
        body.follow(Trigger.PREPARE)
        return None

    def _faulted(self) -> Refusal:
        return Refusal("faulted", f"the joint has a fault: {', '.join(self._body.faults.words)}")


_UNCONFIGURED: Final = Refusal("not-configured", "the joint has no configuration yet")
_UNHOMED: Final = Refusal("unhomed", "the joint is not homed")
