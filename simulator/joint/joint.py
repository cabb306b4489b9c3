"""One joint's firmware at the level of values: drives and requests in, statuses and events out.

`now` is joint time: µs since boot, a float. Every public method first lets happen what was due
before it, each at its own instant and in order, so a late caller changes nothing (design
section 1).
"""

import math
from typing import Final

from protocol.clockmap import ArmClock, ClockMap
from protocol.constants import REMAINDER_LIMIT_US, SILENCE_US
from protocol.drive import Drive, Mode, StopLevel
from protocol.image import ImageFrame
from protocol.light import ConditionWord
from protocol.messages import AnyRequest, Configure
from protocol.points import PointsFrame
from protocol.states import JointState
from protocol.status import Fault, Reason, Status
from simulator.joint.body import AnyEvent, Body, JointIdentity, Truth
from simulator.joint.free import Mover
from simulator.joint.homing import Phase
from simulator.joint.images import ImageStore
from simulator.joint.light import Lamp
from simulator.joint.maps import credible
from simulator.joint.motion import FreeMotion
from simulator.joint.path import Coming, Path
from simulator.joint.playing import Player
from simulator.joint.refusal import Refusal
from simulator.joint.requests import RequestHandler
from simulator.joint.safety import Safety
from simulator.joint.session import Session
from simulator.joint.update import Updater

_REMAINDER_TOLD_US: Final = 2**31 - 1
"""Largest that a status has room for: a wrong map may leave more."""
_EXPIRING: Final = frozenset({JointState.JOGGING, JointState.HOMING, JointState.ADVANCING})
_TIMED_END: Final = frozenset({JointState.STOPPING, JointState.HOMING})


class Joint:
    """A joint. Not configured, not homed and without session when it boots.

    `images` is what outlives its boots; one without takes no images.
    """

    def __init__(
        self,
        identity: JointIdentity,
        *,
        point_capacity: int = 512,
        max_step_rate_hz: int = 250_000,
        position: float = 0.0,
        inputs: int = 8,
        outputs: int = 8,
        reduces_current: bool = True,
        images: ImageStore | None = None,
    ) -> None:
        self.identity = identity
        self.max_step_rate_hz = max_step_rate_hz
        self.input_count = inputs
        self.output_count = outputs
        self.reduces_current = reduces_current
        """Whether it says that it can, as builds from before there was that do not."""
        self.touch_turn = 0
        self.touch_presses = 0
        self.touch_long_presses = 0
        self.rssi_dbm = 0
        self._body = Body(identity, point_capacity, outputs)
        self._body.rest_position = position
        self._player = Player(self._body)
        self._mover = Mover(self._body)
        self._safety = Safety(self._body, self._player, self._mover)
        self._lamp = Lamp()
        self._updater = Updater(self._body, images)
        self._requests = RequestHandler(
            self._body, self._player, self._safety, self._lamp, self._updater, max_step_rate_hz
        )
        self._session = Session()
        self._configured_by: str | None = None
        self._asked = StopLevel.NONE
        self._driven_us = 0.0
        """When the newest drive came, or the session began."""
        self._now = 0.0
        self._rested = True
        """Whether it was at rest, and not armed, when it was last looked at."""
        self._due_us = math.inf
        self._due: tuple[Coming, float] | str = ""
        self._schedule()

    # What is asked of it

    def drive(self, drive: Drive, now: float) -> Status | None:
        """Take a drive; None when it is old or of another session and must get no reply.

        None too from a joint that wants to restart, or cannot store that this confirms its image.
        """
        now = self.poll(now)
        if self.restarts or not self._session.may_take(drive.session, drive.sequence):
            return None
        if not self._updater.confirm():
            return None
        self._session.took(drive.sequence, now)
        body = self._body
        self._driven_us = now
        self._asked = drive.stop
        self._lamp.tell(drive.condition)
        if drive.clock_map is not None:
            self._take_map(drive.clock_map, now)
        if drive.stop > body.latched:
            self._safety.stop(drive.stop, now)
        if drive.energise and not drive.stop and body.may_be_energised and not body.energised:
            body.energised = True
            body.restore_current(now)
        if drive.full_current or drive.mode is not Mode.NONE:
            body.restore_current(now)
        if drive.mode is not Mode.PATH and drive.output_mask and body.at_rest:
            body.switch(drive.output_mask, drive.output_values, now)
        self._mover.obey(drive, now)
        self._player.obey(drive, now)
        self._schedule()
        return self._status(now)

    def points(self, frame: PointsFrame, now: float) -> Refusal | None:
        """Take a frame of points, wholly or not at all."""
        now = self.poll(now)
        refusal = self._requests.points(frame, now)
        self._schedule()
        return refusal

    def image_frame(self, frame: ImageFrame, now: float) -> Refusal | None:
        """Take a part of an image. Only for a joint that takes images."""
        self.poll(now)
        return self._updater.frame(frame)

    def request(self, message: AnyRequest, now: float, digest: str | None = None) -> Refusal | None:
        """Carry out a request of the stream, or say why not.

        `digest` is the SHA-256 of the bytes that it came in, where it came in bytes.
        """
        now = self.poll(now)
        refusal = self._requests.request(message, self._asked, now)
        if refusal is None and isinstance(message, Configure):
            self._configured_by = digest or message.digest()
        self._schedule()
        return refusal

    def session_refusal(self, coordinator_id: bytes, session: int, now: float) -> Refusal | None:
        """Why a session may not begin now; None when it may."""
        now = self.poll(now)
        moving = not self._body.at_rest or self._body.path.pending is not None
        return self._session.refusal(coordinator_id, session, moving=moving, now=now)

    def begin_session(self, coordinator_id: bytes, session: int, now: float) -> bool:
        """Begin a session that `session_refusal` allows; True when it is not the one in force.

        A new one discards trajectory, plan and map; drivers, outputs and a latched stop stay.
        """
        now = self.poll(now)
        if not self._session.begin(coordinator_id, session, now):
            return False
        self._requests.discard()
        self._lamp.forget()
        self._player.begin_session()
        self._mover.homing_number = 0
        self._body.clock = None
        self._asked = StopLevel.NONE
        self._driven_us = now
        self._body.restore_current(now)
        self._schedule()
        return True

    def heard(self, now: float) -> None:
        """The coordinator was heard on the stream: it is still there (not for the 1.5 s rule)."""
        self._session.heard_us = max(self.poll(now), self._session.heard_us or 0.0)

    def hall(self, level: bool, now: float) -> None:
        """The home sensor's level, at the instant at which it changed."""
        now = self.poll(now)
        wrong = self._mover.edge(level, now)
        if wrong:
            self._safety.fault(Fault.STEPS_LOST, now, wrong)
        self._schedule()

    def input(self, mask: int, values: int, now: float) -> None:
        """Inputs of a mask have these levels from now on."""
        now, body = self.poll(now), self._body
        after = body.inputs & ~mask | (values & mask)
        if after != body.inputs:
            body.inputs = after
            body.tell("inputs", now)

    def sense(self, temperature_centi_c: int | None, supply_mv: int | None, now: float) -> None:
        """Readings: temperature in 0.01 °C, None from a dead sensor; supply in mV."""
        now = self.poll(now)
        self._safety.sense(temperature_centi_c, supply_mv, now)
        self._schedule()

    def fault(self, fault: Fault, now: float, detail: str = "") -> None:
        """A fault that the driver, or whoever plays it, reports."""
        now = self.poll(now)
        self._safety.fault(fault, now, detail)
        self._schedule()

    def touch(self, turn: int, presses: int, long_presses: int) -> None:
        """Its touch control has counted so."""
        self.touch_turn, self.touch_presses, self.touch_long_presses = turn, presses, long_presses

    # What it says

    def status(self, now: float) -> Status:
        """The status at an instant."""
        return self._status(self.poll(now))

    def take_events(self) -> list[AnyEvent]:
        """Events since the last call, oldest first."""
        events, self._body.events = self._body.events, []
        return events

    def take_truth(self) -> list[Truth]:
        """What really happened since the last call, oldest first."""
        truths, self._body.truths = self._body.truths, []
        return truths

    def position(self, now: float) -> tuple[float, float]:
        """Position (counts) and velocity (counts/s) as the joint believes, unrounded."""
        return self._body.position(self.poll(now))

    def path_us(self, now: float) -> float:
        """Path time, unrounded."""
        return self._path_us(self.poll(now))

    @property
    def motion(self) -> FreeMotion | None:
        """The free motion in progress as of the last call; None at rest and on the path."""
        return self._body.motion

    @property
    def path(self) -> Path:
        """Its place on the trajectory as of the last call, to look at only."""
        return self._body.path

    @property
    def clock(self) -> ArmClock | None:
        """Its clock map in force; None before the first."""
        return self._body.clock

    def light_word(self, now: float) -> ConditionWord:
        """What its light shows while it does not blink."""
        now, body = self.poll(now), self._body
        silent_us = now - self._driven_us
        return self._lamp.word(body.state, at_rest=body.at_rest, silent_us=silent_us)

    def light_is_on(self, now: float) -> bool:
        """Whether its light is on."""
        return self._lamp.is_lit(self.light_word(now), now)

    @property
    def state(self) -> JointState:
        """The state as of the last call."""
        return self._body.state

    @property
    def energised(self) -> bool:
        """Whether the drivers are on."""
        return self._body.energised

    @property
    def reduced(self) -> bool:
        """Whether the motor has a reduced current."""
        return self._body.reduced

    @property
    def idle_current_a(self) -> float:
        """The reduced current. Only for a joint that has one."""
        idle = self._body.limits.idle_current
        assert idle is not None, "nothing else reduces it"
        return idle.current_ma / 1_000

    @property
    def outputs(self) -> int:
        """The outputs, one bit each."""
        return self._body.outputs

    @property
    def inputs(self) -> int:
        """The inputs, one bit each."""
        return self._body.inputs

    @property
    def fan_percent(self) -> int:
        """How fast the fan runs."""
        return self._safety.fan_percent

    @property
    def hall_level(self) -> bool:
        """The home sensor's level as last told."""
        return self._mover.level

    @property
    def fastest(self) -> float:
        """Counts/s that it never passes. Only for a joint that was configured."""
        return float(self._body.limits.velocity)

    @property
    def shift(self) -> int:
        """Counts that homing has added to every position since boot."""
        return self._body.shift

    @property
    def session(self) -> int | None:
        """The session in force."""
        return self._session.number

    @property
    def images(self) -> ImageStore | None:
        """What it keeps of images, to look at only; None where it takes none."""
        return self._updater.store

    @property
    def restarts(self) -> bool:
        """Whether it wants to restart: whoever runs it does that now, with the same `images`."""
        return self._updater.restarts

    @property
    def configuration_digest(self) -> str | None:
        """SHA-256 of the request that set the configuration in force, None before the first."""
        return self._configured_by

    @property
    def point_capacity(self) -> int:
        """Points that the buffer holds."""
        return self._body.path.buffer.capacity

    @property
    def loaded(self) -> tuple[int, int]:
        """The trajectory loaded (0 for none) and the index of the point lacking next."""
        return self._body.path.buffer.trajectory, self._body.path.buffer.next_index

    # What happens by itself

    def next_deadline(self) -> float | None:
        """Joint time at which something happens by itself, None when nothing will."""
        return None if math.isinf(self._due_us) else self._due_us

    def poll(self, now: float) -> float:
        """Let happen what is due; gives `now`, or the newest instant known if that is later."""
        while self._due_us <= now:
            self._now = max(self._now, self._due_us)
            self._happen(self._due, self._now)
            self._schedule()
        self._now = max(self._now, now)
        return self._now

    def _schedule(self) -> None:
        """Find what comes next. Whatever changes a joint ends with this."""
        body = self._body
        if body.clock is not None and body.at_rest and body.path.pending is None:
            body.clock.settle()
        rests = body.at_rest and body.state is not JointState.ARMED
        if not (rests and self._rested):
            body.current.stir(self._now)
        self._rested = rests
        self._due_us = math.inf
        coming = body.path.next()
        if coming is not None and body.clock is not None:
            self._due_us = body.clock.joint(coming[0])
            self._due = coming[1], coming[0]
        elif body.motion is not None and body.state in _TIMED_END:
            self._due_us, self._due = body.motion.end_us, "rest"
        if body.state in _EXPIRING and body.clock is not None:
            expiry_us = self._mover.expiry_us
            assert expiry_us is not None, "nothing begins to move without expiry"
            self._sooner(body.clock.joint(expiry_us), "expiry")
        moves = body.state in _EXPIRING or body.state is JointState.MOVING
        if moves or body.path.pending is not None:
            self._sooner(self._driven_us + SILENCE_US, "silence")
        if self._goes_off():
            self._sooner(self._driven_us + SILENCE_US, "lost")
        if rests and body.energised:
            self._sooner(body.current.due_us(body.configuration), "idle")
        self._sooner(self._updater.due_us(), "trial")

    def _goes_off(self) -> int:
        """Outputs that are on and go off when nothing is heard any more: at rest only."""
        body = self._body
        off = body.configuration.outputs_off if body.configuration is not None else None
        return off.on_lost & body.outputs if off is not None and body.at_rest else 0

    def _sooner(self, at_us: float, due: str) -> None:
        if at_us < self._due_us:
            self._due_us, self._due = at_us, due

    def _happen(self, due: tuple[Coming, float] | str, now: float) -> None:
        if isinstance(due, tuple):
            self._player.happen(due[0], due[1], now)
        elif due == "trial":
            self._updater.give_up()
        elif due == "lost":
            self._body.switch(self._goes_off(), 0, now)
        elif due == "idle":
            self._body.current.is_reduced = True
            self._body.tell("current-reduced", now)
        elif due == "rest":
            self._mover.rested(now)
            homing = self._mover.homing
            if homing is not None and homing.phase is Phase.FAILED:
                self._safety.fault(Fault.HALL_SENSOR, now, homing.failure)
        elif self._body.state is JointState.ARMED:
            self._player.drop_start(Reason.LATE)
        elif self._body.on_path:
            self._player.ramp(now, due)
        else:
            self._mover.brake(now, f"the permission to move ended ({due})")

    def _take_map(self, clock_map: ClockMap, now: float) -> None:
        body = self._body
        known = body.clock is not None and clock_map.number == body.clock.map.number
        if known or not credible(clock_map, now):
            return
        if body.clock is None:
            body.clock = ArmClock(clock_map)
            return
        pending = body.path.pending is not None
        jump = body.at_rest and not pending
        body.clock.accept(clock_map, now, jump=jump)
        if jump or abs(body.clock.remainder_us(now)) <= REMAINDER_LIMIT_US:
            return
        if body.state is JointState.ARMED:
            self._player.drop_start(Reason.LATE)
        elif body.state in (JointState.MOVING, JointState.ADVANCING):
            self._player.ramp(now, "clock")
        elif body.state in _EXPIRING:
            self._mover.brake(now, "the clock map jumped")

    def _path_us(self, now: float) -> float:
        path = self._body.path
        return path.at(self._body.arm(now)) if path.course is not None else path.stand_us

    def _status(self, now: float) -> Status:
        body, player, safety = self._body, self._player, self._safety
        buffer, clock = body.path.buffer, body.clock
        position, velocity = body.position(now)
        return Status(
            boot=self.identity.boot,
            sequence=self._session.sequence,
            state=body.state,
            homed=body.homed,
            energised=body.energised,
            reduced=body.energised and not body.current.settled(now),
            stop=body.latched,
            plan=player.complied,
            reason=player.reason,
            permit_us=player.permit_us(),
            map_number=clock.map.number if clock else 0,
            remainder_us=_told(clock.remainder_us(now)) if clock else 0,
            position=round(position),
            velocity=round(velocity),
            path_us=round(self._path_us(now)),
            trajectory=buffer.trajectory,
            next_index=buffer.next_index,
            buffered_us=buffer.buffered_us,
            temperature_centi_c=safety.temperature_centi_c,
            supply_mv=safety.supply_mv,
            fan_percent=safety.fan_percent,
            rssi_dbm=self.rssi_dbm,
            faults=body.faults,
            inputs=body.inputs,
            outputs=body.outputs,
            touch_turn=self.touch_turn,
            touch_presses=self.touch_presses,
            touch_long_presses=self.touch_long_presses,
            homing_number=self._mover.homing_number,
            home_sensor=self._mover.level,
        )


def _told(remainder_us: float) -> int:
    return max(-_REMAINDER_TOLD_US, min(_REMAINDER_TOLD_US, round(remainder_us)))


__all__ = ["Joint", "JointIdentity", "Truth"]
