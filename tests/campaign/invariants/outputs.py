"""An output truly switches at rest alone, and for one of the reasons that there are.

On its path: at a point of the part that this joint's coordinator plays, which switches so, where
that point stands. Else at rest: by a drive that asks for it, as a hand did within the last second
and nobody anything else since; or off by what the arm file says of hold, stop and silence; and what
is to go off then is off. Where a joint holds or finishes, its outputs are as the
last point up to there left them, unless something else has switched since.
"""

from dataclasses import dataclass
from typing import Final

from coordinator.core import events as ev
from coordinator.core.outputs import PATIENCE_US
from coordinator.motion import Part
from coordinator.programs import Output
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.configuration import OutputsOff
from protocol.constants import PATH_TOLERANCE_US, SILENCE_US
from protocol.drive import Drive
from protocol.states import AT_REST, JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of, limits_of

SPARE_US: Final = 2_000
"""A second and a half of joint time is not quite as long in true time."""
NONE_OFF: Final = OutputsOff(on_hold=0, on_stop=0, on_lost=0)


@dataclass(frozen=True, slots=True)
class _Point:
    """Where a part switches outputs of a joint."""

    path_us: int
    mask: int
    values: int
    position: int
    """Counts."""


class OutputsAsTold(Invariant):
    """Follows each joint that has outputs."""

    name = "output"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._parts: dict[tuple[int, int], Part] = {}
        """By session and trajectory."""
        self._points: dict[tuple[int, int, str], list[_Point]] = {}
        self._outputs: dict[str, int] = {}
        self._other_us: dict[str, tuple[int, float]] = {}
        """By joint: trajectory and path time at which something else than a point switched last."""
        self._by_hand: dict[tuple[int, str, int], tuple[bool, int]] = {}
        """By session, joint and bit: what a hand asked for, and when; until anybody commands
        something else."""
        self._coming: dict[str, list[Drive]] = {}
        """By joint: drives that ask for outputs, as long as it may still take them."""
        self._driven: dict[str, tuple[int | None, int]] = {}
        """By joint: the session in which it took a drive last, and when."""
        self._stopped: set[str] = set()
        self._held: set[str] = set()
        """Joints that came to hold just now."""

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        run = laptop.core.run
        if drive.plan is not None and run is not None:
            key = drive.session, drive.plan.trajectory
            part = run.context.part_now
            assert isinstance(part, Part)  # whole: what is made while it is played is played once
            self._parts.setdefault(key, part)
        if drive.output_mask:
            self._judge_asked(joint_id, drive)
            self._coming.setdefault(joint_id, []).append(drive)

    def _judge_asked(self, joint_id: str, drive: Drive) -> None:
        """Drives ask for what a hand asked for, and no longer than it wants to wait."""
        name = self.world.nodes[joint_id].name
        for bit in range(8):
            if not drive.output_mask >> bit & 1:
                continue
            asked = self._by_hand.get((drive.session, joint_id, bit))
            if asked is None or asked[0] is not bool(drive.output_values >> bit & 1):
                raise self.broken(f"a drive switches output {bit} of {name}, and no hand asked")
            since_us = self.world.now - asked[1]
            if since_us > PATIENCE_US + SPARE_US:
                raise self.broken(
                    f"a drive switches output {bit} of {name} {since_us / 1e3:.0f} ms after a hand "
                    "asked"
                )

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        session = laptop.core.session
        if isinstance(command, ev.Switch):
            for joint in self.world.arm.joints:
                if command.output in joint.outputs:
                    key = session, joint.id, joint.outputs.index(command.output)
                    self._by_hand[key] = command.on, self.world.now
        elif not isinstance(command, ev.Blink | ev.Override):
            self._by_hand = {key: one for key, one in self._by_hand.items() if key[0] != session}

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is not None:
            self._driven[node.id] = node.unit.joint.session, self.world.now
            # A drive that was overtaken by one that it took never comes into effect.
            self._coming[node.id] = [
                one
                for one in self._coming.get(node.id, ())
                if one.session != drive.session or one.sequence > drive.sequence
            ]

    def rebooted(self, node: Node) -> None:
        self._outputs[node.id] = 0
        self._other_us[node.id] = 0, 0.0
        self._stopped.discard(node.id)
        self._held.discard(node.id)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "outputs":
            self._switched(node, truth)
        elif truth.event in ("hold", "finish"):
            self._rests_on_path(node, truth)
            if truth.event == "hold":
                self._held.add(node.id)

    def touched(self, node: Node) -> None:
        body, off = body_of(node), self._off(node)
        outputs, rests = body.outputs, body.state in AT_REST
        if node.id in self._held:
            self._held.discard(node.id)
            if body.state is JointState.HELD and outputs & off.on_hold:
                raise self.broken(f"{node.name} holds, and outputs {outputs:b} did not go off")
        if not (rests and body.latched):
            self._stopped.discard(node.id)
        elif node.id not in self._stopped:
            self._stopped.add(node.id)
            if outputs & off.on_stop:
                raise self.broken(f"{node.name} is stopped, and outputs {outputs:b} did not go off")
        if rests and outputs & off.on_lost and self._silent_us(node) > SILENCE_US + SPARE_US:
            raise self.broken(f"{node.name} hears nothing, and outputs {outputs:b} did not go off")

    # ---- inside ---------------------------------------------------------------------------------

    def _switched(self, node: Node, truth: WorldTruth) -> None:
        before, self._outputs[node.id] = self._outputs.get(node.id, 0), truth.outputs
        changed = before ^ truth.outputs
        near = [
            point
            for point in self._points_of(node, truth.trajectory)
            if abs(point.path_us - truth.path_us) <= PATH_TOLERANCE_US
            and point.mask & changed == changed
            and (point.values ^ truth.outputs) & changed == 0
        ]
        body = body_of(node)
        if near:
            away = truth.position - (near[0].position - body.shift + node.unit._origin)
            if abs(away) > 1 and node.id not in self.judge.astray:
                raise self.broken(
                    f"{node.name} switches {away:+g} counts from where its path rests for it"
                )
            return
        if not node.alive or not changed:
            return
        self._other_us[node.id] = truth.trajectory, truth.path_us
        if body.state not in AT_REST:
            raise self.broken(f"{node.name} is {body.state.word} and switches outputs by no point")
        off = self._off(node)
        went_off = changed & before
        by_itself = (
            (off.on_hold if body.state is JointState.HELD else 0)
            | (off.on_stop if body.latched else 0)
            | (off.on_lost if self._silent_us(node) >= SILENCE_US - SPARE_US else 0)
        )
        by_hand = 0
        for drive in self._coming.get(node.id, ()):
            if drive.session == node.unit.joint.session:
                by_hand |= drive.output_mask & ~(drive.output_values ^ truth.outputs)
        unasked = changed & ~by_hand & ~(went_off & by_itself)
        if unasked:
            raise self.broken(
                f"{node.name} switches outputs {unasked:b} to {truth.outputs:b}, and nobody asked"
            )

    def _rests_on_path(self, node: Node, truth: WorldTruth) -> None:
        passed = [
            point
            for point in self._points_of(node, truth.trajectory)
            if point.path_us <= truth.path_us
        ]
        trajectory, other_us = self._other_us.get(node.id, (0, 0.0))
        if trajectory == truth.trajectory:
            passed = [point for point in passed if point.path_us > other_us]
        wanted = {}
        for point in passed:
            for bit in range(8):
                if point.mask >> bit & 1:
                    wanted[bit] = point.values >> bit & 1
        for bit, value in wanted.items():
            if truth.outputs >> bit & 1 != value:
                raise self.broken(
                    f"{node.name} rests at {truth.path_us:.0f} µs with output {bit} "
                    f"{'off' if value else 'on'}, its path says the other"
                )

    def _points_of(self, node: Node, trajectory: int) -> list[_Point]:
        """Where the part that a joint plays switches its outputs."""
        session = node.unit.joint.session
        part = self._parts.get((session or 0, trajectory))
        if part is None or not any(isinstance(step, Output) for step in part.steps):
            return []
        key = session or 0, trajectory, node.id
        if key not in self._points:
            index = [joint.id for joint in self.world.arm.joints].index(node.id)
            self._points[key] = [
                _Point(point.time_us, point.output_mask, point.output_values, point.position)
                for move in part.moves()
                for point in move.points[index]
                if point.output_mask
            ]
        return self._points[key]

    def _off(self, node: Node) -> OutputsOff:
        limits = limits_of(node)
        return (limits.outputs_off if limits is not None else None) or NONE_OFF

    def _silent_us(self, node: Node) -> int:
        """How long it has truly taken no drive; as long as it takes where that cannot be said."""
        session, at_us = self._driven.get(node.id, (None, 0))
        if node.id in self.judge.broken_clock or session != node.unit.joint.session:
            return SILENCE_US
        return self.world.now - at_us
