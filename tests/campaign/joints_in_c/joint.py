"""A joint in C behind the seam of the joint in Python.

What world and rules look at is an image: the state of a joint in Python, filled from that of the
one in C after everything that happened to it. Nothing happens to the image by itself.
"""

import math

from protocol.clockmap import ArmClock, ClockMap
from protocol.configuration import Configuration, Homing, IdleCurrent, OutputsOff
from protocol.constants import PPM
from protocol.drive import Drive, encode_drive
from protocol.image import ImageFrame
from protocol.light import WORDS, ConditionWord
from protocol.messages import AnyRequest
from protocol.pathtime import Course, RateChange
from protocol.points import Point, PointsFrame
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import (
    REASONS,
    STATES,
    STATUS_BYTES,
    STOP_LEVELS,
    Fault,
    Status,
    unpack_status,
)
from simulator.joint.body import JointIdentity, Truth
from simulator.joint.joint import Joint
from simulator.joint.light import Lamp
from simulator.joint.motion import FreeMotion, Segment
from simulator.joint.refusal import Refusal
from tests.campaign.joints_in_c.core import Core
from tests.campaign.joints_in_c.library import (
    CLOCK,
    EVENTS,
    MOTION,
    PART,
    PATH,
    POINTS,
    POINTS_END,
    Change,
    CourseSeen,
    Motion,
    Settings,
)


class BytesOnlyError(TypeError):
    """A joint in C was given a value that comes to it as bytes."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what} comes to a joint in C as bytes, by its endpoint")


class JointInC(Joint):
    """A joint in C. `key` is the arm's; `now` the joint time at which this boot begins."""

    def __init__(
        self,
        identity: JointIdentity,
        key: bytes,
        udp_port: int,
        now: float,
        *,
        point_capacity: int,
        max_step_rate_hz: int,
        inputs: int,
        outputs: int,
        reduces_current: bool,
    ) -> None:
        self.core = Core()
        settings = Settings(
            key, bytes.fromhex(identity.id), identity.firmware.encode(), identity.boot, udp_port,
            point_capacity, max_step_rate_hz, inputs, outputs, reduces_current,
        )  # fmt: skip
        self.core.begin(settings, now)
        self.core.run(now)
        self._seen = b""
        """The core's state as the image shows it."""
        self._seen_clock = self._seen_points = self._seen_path = self._seen_motion = b""
        """Parts of it, by which those of the image were filled last."""
        self._points = 0, 0, 0
        """Trajectory, first and next index of the points in the image."""
        self._truths: list[Truth] = []
        super().__init__(
            identity,
            point_capacity=point_capacity,
            max_step_rate_hz=max_step_rate_hz,
            inputs=inputs,
            outputs=outputs,
            reduces_current=reduces_current,
        )
        self._lamp = _LampInC(self.core)
        self.show()

    # ---- what happens to it -------------------------------------------------------------------

    def poll(self, now: float) -> float:
        # Whatever it was told lets happen what is due by then, also what is due because of it.
        if now > self._now:
            self.core.run(now)
            self.show()
        return self._now

    def hall(self, level: bool, now: float) -> None:
        self.core.hall(level, now)
        self.show()

    def input(self, mask: int, values: int, now: float) -> None:
        before = self._body.inputs
        self.core.inputs(before & ~mask | (values & mask), now)
        self.show()
        if self._body.inputs != before:
            self._gather()
            self._body.tell("inputs", self._now)
            self._truths += super().take_truth()

    def sense(self, temperature_centi_c: int | None, supply_mv: int | None, now: float) -> None:
        self.core.sense(temperature_centi_c, supply_mv, self.rssi_dbm, now)
        self.show()

    def fault(self, fault: Fault, now: float, detail: str = "") -> None:
        if fault is not Fault.DRIVER:
            raise ValueError(f"a joint in C has no {fault!r} but by its readings")
        self.core.driver_fault(now)
        self.show()

    def touch(self, turn: int, presses: int, long_presses: int) -> None:
        self.core.touch(turn, presses, long_presses)
        self.show()

    def drive(self, drive: Drive, now: float) -> Status | None:
        """As a datagram with the right tag: for copies, which nobody has keys of."""
        keys = self.core.keys()
        if keys is None:
            return None
        length, answer = self.core.datagram(encode_drive(drive, drive.sequence, keys[0]), now)
        self.show()
        return unpack_status(answer[:STATUS_BYTES]) if length else None

    def take_truth(self) -> list[Truth]:
        self._gather()
        truths, self._truths = self._truths, []
        return truths

    def _gather(self) -> None:
        if not self.core.now.truths:
            return
        shift = self.core.seen.shift
        for truth in self.core.truths():
            # As counts are now: whoever asks knows no other shift.
            position = truth.position + (shift - truth.shift)
            self._truths.append(
                Truth(
                    EVENTS[truth.event], truth.at_us, position, truth.path_us, truth.trajectory,
                    truth.plan if EVENTS[truth.event] in ("start", "resume") else 0,
                    truth.outputs, truth.inputs,
                )
            )  # fmt: skip

    # ---- what only bytes bring: here it would reach the image alone -----------------------------

    def points(self, frame: PointsFrame, now: float) -> Refusal | None:
        raise BytesOnlyError("a frame of points")

    def request(self, message: AnyRequest, now: float, digest: str | None = None) -> Refusal | None:
        raise BytesOnlyError("a request")

    def image_frame(self, frame: ImageFrame, now: float) -> Refusal | None:
        raise BytesOnlyError("an image")

    def session_refusal(self, coordinator_id: bytes, session: int, now: float) -> Refusal | None:
        raise BytesOnlyError("a session")

    def begin_session(self, coordinator_id: bytes, session: int, now: float) -> bool:
        raise BytesOnlyError("a session")

    def heard(self, now: float) -> None:
        raise BytesOnlyError("what is heard")

    # ---- the image ----------------------------------------------------------------------------

    def show(self) -> None:
        """Fill the image from the core."""
        now, seen = self.core.now, self.core.seen
        self._now, self._due_us = now.now_us, now.deadline_us
        raw = bytes(seen)
        if raw == self._seen:
            return
        self._seen = raw
        body = self._body
        body.state = STATES[seen.state]
        body.homed, body.energised = bool(seen.homed), bool(seen.energised)
        body.latched, body.faults = STOP_LEVELS[seen.latched], Fault(seen.faults)
        body.inputs, body.outputs, body.shift = seen.inputs, seen.outputs, seen.shift
        body.current.is_reduced, body.current._settled_us = bool(seen.reduced), seen.settled_us
        body.rest_position = seen.rest_position
        self.touch_turn, self.touch_presses = seen.turn, seen.presses
        self.touch_long_presses = seen.long_presses
        self._safety.fan_percent = seen.fan_percent
        self._mover.level, self._mover.homing_number = bool(seen.home_sensor), seen.homing_number
        self._session.number = seen.session if seen.begun else None
        self._session.sequence, self._driven_us = seen.sequence, seen.driven_us
        player = self._player
        player.complied, player.reason = seen.complied, REASONS[seen.reason]
        player._cause = seen.cause.decode()
        self._show_configuration()
        self._show_parts(raw)

    def _show_parts(self, raw: bytes) -> None:
        """What takes long to be made, where it is not as it was."""
        path, motion = raw[PATH:MOTION], raw[MOTION:CLOCK]
        clock, points = raw[CLOCK:POINTS], raw[POINTS:POINTS_END]
        if clock != self._seen_clock:
            self._seen_clock = clock
            self._show_clock()
        if points != self._seen_points:
            self._seen_points = points
            self._show_points()
        if path != self._seen_path:
            self._seen_path = path
            self._show_path()
        if motion != self._seen_motion:
            self._seen_motion = motion
            seen = self.core.seen.motion
            self._body.motion = _motion(seen) if seen.moves else None

    def _show_configuration(self) -> None:
        seen = self.core.seen
        digest = bytes(seen.digest).hex() if seen.configured else None
        if digest == self._configured_by:
            return
        self._configured_by = digest
        self._body.configuration = configuration = None if digest is None else _limits(self.core)
        if configuration is not None:
            self._body.path.ramp = Ramp(configuration.ramp)
            self._seen_path = b""  # its course goes by the ramp

    def _show_clock(self) -> None:
        seen = self.core.seen.clock
        if not seen.number:
            self._body.clock = None
            return
        clock_map = ClockMap(seen.number, seen.arm_us, seen.joint_us, seen.rate_ppb)
        clock = self._body.clock
        if clock is None or clock.map != clock_map:
            clock = self._body.clock = ArmClock(clock_map)
        clock._remainder_us, clock._since_us = seen.remainder / PART, seen.taken / PART

    def _show_points(self) -> None:
        seen, buffer = self.core.seen, self._body.path.buffer
        trajectory, first, after = self._points
        self._points = seen.trajectory, seen.first_index, seen.next_index
        if trajectory != seen.trajectory or seen.next_index < after or seen.first_index < first:
            buffer.clear()
            first = after = seen.first_index
        buffer.trajectory, buffer.next_index = seen.trajectory, seen.next_index
        for one in self.core.points(max(after, seen.first_index), seen.next_index):
            point = Point(
                one.time_us, one.position, one.velocity, bool(one.last), one.mask, one.values
            )
            buffer._points.append(point)
            buffer._times.append(point.time_us)
        freed = min(seen.first_index - first, after - first)
        del buffer._points[:freed], buffer._times[:freed]
        buffer.last = buffer._points[-1] if seen.has_last else None
        buffer.switches.clear()
        buffer.switches.extend(
            point
            for point in buffer._points[max(0, seen.next_switch - seen.first_index) :]
            if point.output_mask
        )

    def _show_path(self) -> None:
        seen, path = self.core.seen, self._body.path
        path.stand_us = seen.stand_us
        path.course = _course(seen.course, path.ramp) if seen.on_path else None
        path.current = _change(seen.present) if seen.has_present else None
        path.pending = _change(seen.pending) if seen.has_pending else None
        path.permit_us = seen.permit_us if seen.has_permit else None
        path.began_us = seen.began_us if seen.has_began else None
        path.goal_us = seen.goal_us if seen.has_goal else None


class _LampInC(Lamp):
    """The light of a joint in C."""

    def __init__(self, core: Core) -> None:
        super().__init__()
        self._core = core

    def word(self, state: JointState, *, at_rest: bool, silent_us: float) -> ConditionWord:
        return WORDS[self._core.lamp(self._core.seen.driven_us + silent_us)]


def _change(seen: Change) -> RateChange:
    return RateChange(seen.at_us, seen.path_us, seen.before_ppm, seen.after_ppm)


def _course(seen: CourseSeen, ramp: Ramp) -> Course:
    if seen.by_table:
        before, after = ramp.rate(seen.begin / PART), ramp.rate(seen.end / PART)
    else:
        before, after = seen.before_ppm / PPM, seen.after_ppm / PPM
    return Course(seen.at / PART, seen.path / PART, before, after, ramp)


def _motion(seen: Motion) -> FreeMotion:
    legs = seen.leg[: seen.legs]
    ends = [*(leg.from_us for leg in legs[1:]), seen.end_us]
    segments = [
        Segment(leg.from_us, leg.position, leg.velocity, leg.acceleration, end - leg.from_us)
        for leg, end in zip(legs, ends, strict=True)
    ]
    if seen.end_velocity:
        segments.append(Segment(seen.end_us, seen.end_position, seen.end_velocity, 0.0, math.inf))
        return FreeMotion(tuple(segments), math.inf, math.nan)
    return FreeMotion(tuple(segments), seen.end_us, seen.end_position)


def _limits(core: Core) -> Configuration:
    name, of, rows = core.configuration()
    off = idle = None
    if of["has_outputs_off"]:
        off = OutputsOff(on_hold=of["on_hold"], on_stop=of["on_stop"], on_lost=of["on_lost"])
    if of["has_idle_current"]:
        idle = IdleCurrent(after_ms=of["after_ms"], current_ma=of["current_ma"])
    return Configuration(
        name=name,
        **{
            key: of[key]
            for key in (
                *("counts_per_turn", "full_step", "velocity", "acceleration", "jog_unhomed"),
                *("temperature_limit_centi_c", "supply_limit_mv"),
                *("run_current_ma", "hold_current_ma"),
            )
        },
        range_low=of["range_low"] if of["has_range"] else None,
        range_high=of["range_high"] if of["has_range"] else None,
        homing=Homing(
            **{key: of[key] for key in ("direction", "travel", "backoff", "fast", "slow", "home")}
        ),
        ramp=rows,
        outputs_off=off,
        idle_current=idle,
    )
