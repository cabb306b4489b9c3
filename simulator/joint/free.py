"""Motion off the path: jog and homing under an expiry, and braking to rest."""

import math
from typing import Final

from protocol.drive import Drive, Mode, StopLevel
from protocol.messages import Homed, HomingFailed, Stopped
from protocol.middle import without_turns
from protocol.states import JointState, Trigger
from simulator.joint.body import Body
from simulator.joint.edges import HomeEdges
from simulator.joint.homing import Homing, Phase
from simulator.joint.motion import brake, to, toward
from simulator.joint.passages import Passing

_STILL: Final = frozenset({JointState.UNHOMED, JointState.READY})


class Mover:
    """Jog, homing and braking of one joint."""

    def __init__(self, body: Body) -> None:
        self._body = body
        self.homing: Homing | None = None
        self.homing_number = 0
        """Of the last homing begun in this session."""
        self.expiry_us: int | None = None
        """Arm time up to which jog, homing or advance are permitted."""
        self.level = False
        """Of the home sensor."""
        self._edges = HomeEdges()
        self._passing = Passing()
        self._was_homed = False
        """Whether the joint knew its position when the homing in progress began."""
        self._jogged: tuple[float, float | None] | None = None
        """Velocity and target of the jog that is laid out."""
        self._met: float | None = None
        """Where the sensor was met last, in the search direction."""
        self._met_before: float | None = None
        """The same before the newest passage, which may turn out to be none."""

    def obey(self, drive: Drive, now: float) -> None:
        """What a drive says of jog and homing, in any state."""
        body = self._body
        self.expiry_us = drive.expiry_us
        expired = drive.expiry_us is None or body.clock is None or body.arm(now) >= drive.expiry_us
        if body.state is JointState.JOGGING:
            if drive.mode is Mode.JOG and drive.jog_velocity and not expired:
                self._jog(drive.jog_velocity, drive.jog_target, now)
            else:
                self.brake(now)
        elif body.state is JointState.HOMING:
            same = drive.mode is Mode.HOME and drive.homing_number == self.homing_number
            if not same or expired:
                self.brake(now, "the permission to home ended")
        elif body.state in _STILL and body.may_move and body.current.settled(now) and not expired:
            if drive.mode is Mode.JOG and drive.jog_velocity:
                body.follow(Trigger.JOG)
                self._jogged = None
                self._jog(drive.jog_velocity, drive.jog_target, now)
            elif drive.mode is Mode.HOME and drive.homing_number not in (0, self.homing_number):
                self._home(drive.homing_number, now)

    def edge(self, level: bool, now: float) -> str | None:
        """The home sensor's level; a sentence when it shows that the position is wrong."""
        if level == self.level:
            return None
        self.level = level
        body, passing = self._body, self._passing
        if body.configuration is None:
            return None
        limits = body.configuration
        position, velocity = body.position(now)
        passing.change(position, velocity, limits)
        if self.homing is not None:
            self.homing.edge(level, passing, now)
            body.motion = self.homing.motion
            return None
        if passing.begins:
            self._met_before = self._met
        elif self._met is not None:  # what was forgotten since stays so
            self._met = self._met_before
        ahead = velocity * limits.homing.direction > 0.0
        if level and passing.counts and body.motion is not None and ahead:
            self._met = passing.place
        if not (body.homed and passing.begins):
            return None
        return self._edges.astray(level, position, velocity, limits, passing.turned_round)

    def brake(self, now: float, why: str = "a stop or a fault ended it") -> None:
        """To rest at the joint's own limit, off the path; `why` is for a homing cut short."""
        body = self._body
        position, velocity = body.position(now)
        self._end_homing(why, now)
        body.follow(Trigger.STOP)
        body.path.course = None
        body.motion = brake(now, position, velocity, body.limits.acceleration)

    def release(self, now: float) -> None:
        """Drivers off: whatever moves ends on the spot, and the position is no longer sure."""
        body = self._body
        moved = not body.at_rest
        position, _ = body.position(now)
        self._end_homing("the drivers were released", now)
        body.path.course = None
        body.stand(position)
        body.energised = body.homed = False
        body.current.forget()
        self._met = None  # by hand or by its weight it may turn as far as it likes
        if body.state is not JointState.FAULTED:
            body.follow(Trigger.RELEASE)
            if body.faults:
                body.follow(Trigger.FAULT)
        if moved:
            body.tell("stop", now)

    def rested(self, now: float) -> None:
        """Free motion has come to rest."""
        body = self._body
        if self.homing is not None:
            self.homing.rested(now)
            body.motion = self.homing.motion
            if self.homing.phase is Phase.DONE:
                self._homed(self.homing, now)
            return
        assert body.motion is not None
        body.stand(body.motion.end_position)
        if body.faults:
            body.follow(Trigger.REST_FAULT)
        else:
            body.follow(Trigger.REST_HOMED if body.homed else Trigger.REST_UNHOMED)
        body.tell("stop", now)
        if body.latched:
            self.stopped(now)

    def stopped(self, now: float) -> None:
        """At rest after a stop: level 2 lets go of the drivers now."""
        body = self._body
        if body.latched is StopLevel.STOP_AND_RELEASE and body.energised:
            self.release(now)
        if body.configuration is not None and (off := body.configuration.outputs_off) is not None:
            body.switch(off.on_stop, 0, now)
        level, position = body.latched, round(body.position(now)[0])
        body.emit(Stopped(at_us=round(now), level=level, position=position))

    def _jog(self, velocity: int, target: int | None, now: float) -> None:
        body, limits = self._body, self._body.limits
        fastest = limits.velocity if body.homed else limits.jog_unhomed
        wanted = float(max(-fastest, min(fastest, velocity)))
        low, high = -math.inf, math.inf
        if body.homed and limits.range_low is not None and limits.range_high is not None:
            low, high = float(limits.range_low), float(limits.range_high)
        end = None if target is None else max(low, min(high, float(target)))
        if (wanted, end) == self._jogged:
            return
        self._jogged = wanted, end
        position, speed = body.position(now)
        if end is None:
            body.motion = toward(now, position, speed, wanted, limits.acceleration, low, high)
        else:
            body.motion = to(now, position, speed, end, abs(wanted), limits.acceleration)

    def _home(self, number: int, now: float) -> None:
        body = self._body
        body.follow(Trigger.HOME)
        self._was_homed, body.homed = body.homed, False
        self.homing_number = number
        position = body.position(now)[0]
        self._passing.forget()
        self.homing = Homing(number, body.limits, position, self.level, now, self._met)
        body.motion = self.homing.motion

    def _homed(self, homing: Homing, now: float) -> None:
        body, self.homing = self._body, None
        self._passing.forget()
        shift = body.limits.homing.home - homing.middle
        self._met = None if homing.met is None else homing.met + shift
        body.stand(homing.motion.end_position + shift)
        body.shift += shift
        body.homed = True
        self._edges.learn(homing.passed, shift)
        body.follow(Trigger.HOMED)
        body.tell("home", now)
        body.emit(
            Homed(
                at_us=round(now),
                homing_number=homing.number,
                edges=homing.edges,
                middle=homing.middle,
                shift=shift,
                lost=without_turns(shift, body.limits.counts_per_turn) if self._was_homed else None,
            )
        )

    def _end_homing(self, why: str, now: float) -> None:
        homing, self.homing = self.homing, None
        if homing is not None:
            self._met, self._met_before = homing.kept(now), homing.met_before
            self._body.emit(
                HomingFailed(
                    at_us=round(now),
                    homing_number=homing.number,
                    message=homing.failure or f"homing was cut short: {why}",
                    edges=homing.edges,
                )
            )
