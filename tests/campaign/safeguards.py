"""Safeguards, and how a test takes each of them out of the running code.

`mutants.py` takes most of them out of a copy of the source, to see how soon random faults show it.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from coordinator.core.currents import Currents
from coordinator.core.membership import Membership
from coordinator.core.outputs import ToolOutputs
from coordinator.core.run import discarding
from coordinator.core.run.edge_watch import EdgeWatch
from coordinator.core.run.permit import PermitKeeper
from coordinator.core.run.production import Cycles
from coordinator.core.run.report import StartRecord
from coordinator.core.run.turns import NextPart
from coordinator.core.run.waiting import Waiting, next_part
from coordinator.motion import entry
from coordinator.programs import Move, Step
from coordinator.timing.guarantee import Guarantee, Interval
from protocol.clockmap import ArmClock, ClockMap
from protocol.constants import US
from protocol.states import JointState
from protocol.status import Status
from simulator.joint import joint as firmware
from simulator.joint import motion
from simulator.joint.body import Body
from simulator.joint.current import IdleCurrent
from simulator.joint.edges import HomeEdges
from simulator.joint.free import Mover
from simulator.joint.joint import Joint
from simulator.joint.motion import FreeMotion
from simulator.joint.path import Coming, Path
from simulator.joint.playing import Player
from simulator.joint.safety import Safety
from tests.campaign.stage import Stage
from tests.campaign.truth import body_of, path_of

Patch = pytest.MonkeyPatch
TakeOut = Callable[[Patch, Stage], None]


def no_permit(patch: Patch, stage: Stage) -> None:
    """Joints go on past the end of their permit."""
    whole = Path.next

    def without(self: Path) -> tuple[float, Coming] | None:
        coming = whole(self)
        return None if coming is not None and coming[1] is Coming.PERMIT else coming

    patch.setattr(Path, "next", without)


def no_permit_of_one(patch: Patch, stage: Stage) -> None:
    """The first joint goes on past the end of its permit."""
    whole, one = Path.next, path_of(stage.world.node("j1"))

    def without(self: Path) -> tuple[float, Coming] | None:
        coming = whole(self)
        permit = coming is not None and coming[1] is Coming.PERMIT
        return None if permit and self is one else coming

    patch.setattr(Path, "next", without)


def reported_as_if_it_moved(patch: Patch, stage: Stage) -> None:
    """A joint that ramps down reports no end of its permit, but any place further on."""
    whole = Player.permit_us

    def more(self: Player) -> int | None:
        permit_us = whole(self)
        return permit_us if permit_us is None or self._path.began_us is None else permit_us + US

    patch.setattr(Player, "permit_us", more)


def no_levelling(patch: Patch, stage: Stage) -> None:
    """The joints keep what they were offered last."""
    patch.setattr(PermitKeeper, "level", lambda keeper: setattr(keeper, "fixed", True))
    patch.setattr(PermitKeeper, "keep_level", lambda *_: False)


def no_silence(patch: Patch, stage: Stage) -> None:
    """Joints wait for a coordinator that is gone, and nothing else ends their motion."""
    patch.setattr(firmware, "SILENCE_US", 60 * US)
    no_permit(patch, stage)


def no_expiry(patch: Patch, stage: Stage) -> None:
    """A permission to jog lasts for ever."""
    patch.setattr(firmware, "_EXPIRING", ())


def estimate_guaranteed(patch: Patch, stage: Stage) -> None:
    """The middle of what exchanges allow is stated as if it were sure."""
    whole = Guarantee.interval

    def interval(self: Guarantee, arm_us: int) -> Interval | None:
        found = whole(self, arm_us)
        middle_us = 0 if found is None else round(found.middle_us)
        return found and Interval(middle_us, middle_us)

    patch.setattr(Guarantee, "interval", interval)


def late_starts_taken(patch: Patch, stage: Stage) -> None:
    """A start that comes after its instant is taken as if it had come before."""
    whole = Player._go

    def go(self: Player, plan: Any, change: Any, now: float) -> bool:
        clock = self._body.clock
        assert clock is not None
        return whole(self, plan, change, min(now, clock.joint(change.at_us) - 1.0))

    patch.setattr(Player, "_go", go)


def small_bounds(patch: Patch, stage: Stage) -> None:
    """Reports state that starts were as good as at once."""
    patch.setattr(StartRecord, "start_skew_max_us", property(lambda record: 0))


def another_map(patch: Patch, stage: Stage) -> None:
    """The second joint goes by a clock 5 ms off the map that it was sent."""
    whole, one = ArmClock.accept, body_of(stage.world.node("j2")).clock

    def accept(self: ArmClock, clock_map: ClockMap, joint_us: float, *, jump: bool) -> None:
        if self is one:
            clock_map = replace(clock_map, joint_us=clock_map.joint_us + 5_000)
        whole(self, clock_map, joint_us, jump=jump)

    patch.setattr(ArmClock, "accept", accept)


def maps_at_once(patch: Patch, stage: Stage) -> None:
    """A new map counts at once, in motion too."""
    whole = ArmClock.accept
    patch.setattr(
        ArmClock,
        "accept",
        lambda self, clock_map, joint_us, *, jump: whole(self, clock_map, joint_us, jump=True),
    )


def hard_brakes(patch: Patch, stage: Stage) -> None:
    """A joint brakes three times as hard as it may."""
    whole = motion.brake

    def brake(now: float, position: float, velocity: float, acceleration: float) -> FreeMotion:
        return whole(now, position, velocity, 3.0 * acceleration)

    patch.setattr("simulator.joint.free.brake", brake)
    patch.setattr("simulator.joint.motion.brake", brake)


def fast_jog(patch: Patch, stage: Stage) -> None:
    """A joint is jogged twice as fast as it was asked to."""
    whole = motion.toward

    def toward(
        now: float, position: float, velocity: float, target: float, *limits: float
    ) -> FreeMotion:
        return whole(now, position, velocity, 2.0 * target, *limits)

    patch.setattr("simulator.joint.free.toward", toward)


def no_range(patch: Patch, stage: Stage) -> None:
    """A jog does not mind the end of a joint's range."""
    whole = motion.toward

    def toward(
        now: float, position: float, velocity: float, target: float, acceleration: float,
        low: float = -math.inf, high: float = math.inf,
    ) -> FreeMotion:  # fmt: skip
        return whole(now, position, velocity, target, acceleration)

    patch.setattr("simulator.joint.free.toward", toward)


def no_braking(patch: Patch, stage: Stage) -> None:
    """A joint that moves does not mind a fault."""
    patch.setattr(Safety, "_brake", lambda safety, now: None)


def jogs_as_if_homed(patch: Patch, stage: Stage) -> None:
    """Without the lower limit of speed."""
    whole = Mover._jog

    def jog(self: Mover, velocity: int, target: int | None, now: float) -> None:
        homed, self._body.homed = self._body.homed, True
        whole(self, velocity, target, now)
        self._body.homed = homed

    patch.setattr(Mover, "_jog", jog)


def no_tag(patch: Patch, stage: Stage) -> None:
    """A datagram's tag is not checked."""
    patch.setattr("protocol.keys.same", lambda a, b: True)


def no_proof(patch: Patch, stage: Stage) -> None:
    """A handshake's proof is not checked."""
    patch.setattr("simulator.joint.handshake.same", lambda a, b: True)


def no_edges(patch: Patch, stage: Stage) -> None:
    """A joint does not mind where its home sensor switches."""
    patch.setattr(HomeEdges, "astray", lambda self, *seen: None)


def homed_for_ever(patch: Patch, stage: Stage) -> None:
    """A joint that lets go of its motor still says that it is homed."""
    whole = Mover.release

    def release(self: Mover, now: float) -> None:
        homed = self._body.homed
        whole(self, now)
        self._body.homed = homed

    patch.setattr(Mover, "release", release)


def a_step_away(patch: Patch, stage: Stage) -> None:
    """A status says a position more than a microstep from where the joint is."""
    whole = Joint._status

    def status(self: Joint, now: float) -> Status:
        true = whole(self, now)
        return replace(true, position=true.position + 300)

    patch.setattr(Joint, "_status", status)


def switches_as_it_starts(patch: Patch, stage: Stage) -> None:
    """A joint switches its outputs when it begins to move."""
    whole = Player._start

    def start(self: Player, now: float) -> None:
        whole(self, now)
        self._body.switch(1, 1, now)

    patch.setattr(Player, "_start", start)


def switches_as_it_ends(patch: Patch, stage: Stage) -> None:
    """A joint switches its outputs when it has come to the last point."""
    whole = Player._finish

    def finish(self: Player, now: float) -> None:
        whole(self, now)
        self._body.switch(1, ~self._body.outputs, now)

    patch.setattr(Player, "_finish", finish)


def never_switches(patch: Patch, stage: Stage) -> None:
    """A joint passes the points at which its outputs switch."""
    patch.setattr(Player, "_switch", lambda self, now: self._path.buffer.switches.popleft())


def away_from_its_path(patch: Patch, stage: Stage) -> None:
    """A joint is beside its path as long as it moves along it."""
    whole = Path.position

    def beside(self: Path, arm_us: float) -> tuple[float, float]:
        position, velocity = whole(self, arm_us)
        return position + 50.0, velocity

    patch.setattr(Path, "position", beside)


def _kept(patch: Patch, when: Callable[[Body], bool]) -> None:
    whole = Body.switch

    def switch(self: Body, mask: int, values: int, now: float) -> None:
        if values or not when(self):
            whole(self, mask, values, now)

    patch.setattr(Body, "switch", switch)


def kept_at_a_hold(patch: Patch, stage: Stage) -> None:
    """What is to go off at a hold does not."""
    _kept(patch, lambda body: body.state is JointState.HELD)


def kept_at_a_stop(patch: Patch, stage: Stage) -> None:
    """What is to go off at a stop does not."""
    _kept(patch, lambda body: bool(body.latched))


def kept_in_silence(patch: Patch, stage: Stage) -> None:
    """What is to go off when nothing is heard any more does not."""
    patch.setattr(Joint, "_goes_off", lambda self: 0)


def switches_unasked(patch: Patch, stage: Stage) -> None:
    """Drives ask for an output of every joint for which no hand asked."""
    patch.setattr(ToolOutputs, "of", lambda self, link: (1, 1))


def hands_wait_long(patch: Patch, stage: Stage) -> None:
    """What a hand asked for is asked for as long as it takes."""
    patch.setattr("coordinator.core.outputs.PATIENCE_US", 60 * US)


def nobody_forgets(patch: Patch, stage: Stage) -> None:
    """Nothing takes back what a hand asked for."""
    patch.setattr(ToolOutputs, "forget", lambda self: None)


def goes_on_without_its_input(patch: Patch, stage: Stage) -> None:
    """A run that waits for an input goes on as if it had come."""
    patch.setattr(Waiting, "step", lambda self, now: next_part(self.context, now))


def enters_at_full_speed(patch: Patch, stage: Stage) -> None:
    """The arm goes to the line at which a program begins as fast as it may."""
    _approach(patch, lambda step: replace(step, share=1.0) if isinstance(step, Move) else step)


def enters_without_a_rest(patch: Patch, stage: Stage) -> None:
    """The arm goes on behind the way to the line at which a program begins."""
    _approach(patch, lambda step: step if isinstance(step, Move) else None)


def _approach(patch: Patch, changed: Callable[[Step], Step | None]) -> None:
    whole = entry._approach

    def approach(*of: Any) -> Iterator[Step]:
        return (one for step in whole(*of) if (one := changed(step)) is not None)

    patch.setattr(entry, "_approach", approach)


def moves_before_it_settled(patch: Patch, stage: Stage) -> None:
    """Joints move on whatever current they have, and say that it is the full one."""
    patch.setattr(IdleCurrent, "settled", lambda current, now: True)


def reduces_early(patch: Patch, stage: Stage) -> None:
    """Joints reduce their current after half of their time at rest."""
    whole = IdleCurrent.due_us

    def due_us(self: IdleCurrent, configuration: Any) -> float:
        due = whole(self, configuration)
        return self._stirred_us + (due - self._stirred_us) / 2

    patch.setattr(IdleCurrent, "due_us", due_us)


def full_current_unasked(patch: Patch, stage: Stage) -> None:
    """No drive asks for the full current."""
    patch.setattr(Currents, "turn", lambda self, now, *, wanted: setattr(self, "is_asked", False))


def one_loop_more_is_told(patch: Patch, stage: Stage) -> None:
    """A loop is said to be done when the one before is."""
    whole = Cycles.ends
    patch.setattr(Cycles, "ends", lambda self, loop, now: whole(self, loop + 1, now))


def time_is_never_over(patch: Patch, stage: Stage) -> None:
    """A run for a time goes on and on."""
    patch.setattr(discarding, "next_part", lambda context, now: NextPart())


def held_between_loops_in_vain(patch: Patch, stage: Stage) -> None:
    """A hold that comes as a loop ends keeps nothing from beginning."""
    patch.setattr(discarding.Discarding, "hold", lambda self, cause, now: None)


def astray_and_homed(patch: Patch, stage: Stage) -> None:
    """A joint that was found astray never says so itself."""
    patch.setattr(Membership, "_unhome", lambda self, link, now: None)


def edges_unseen(patch: Patch, stage: Stage) -> None:
    """All edges are said to have been passed, whatever was seen."""
    patch.setattr(EdgeWatch, "step", lambda self: None)
    patch.setattr(EdgeWatch, "passed", property(lambda self: tuple(self._seen)))
