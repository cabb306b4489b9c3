"""What people do at a joint's own control moves that joint, as far as it was turned, and no more.

What a coordinator tells of a touch is held against what was truly done at the joint: all of it
within the last second, and none of it told before. What comes of it: a step of that joint by its
detents, while no joint is on a path; a hold, after which nothing is jogged or homed; a play where
the arm file says so. A joint that is set not to listen does nothing. And the joint truly stays
between where it stood and where it was turned to, until something else is asked of it.
"""

from dataclasses import dataclass
from typing import Final

from coordinator.codes.arm_phase import ArmPhase
from coordinator.core import events as ev
from coordinator.core.snapshot.arm import arm_phase
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive
from protocol.states import JointState
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.bounds import Bounds, Ills
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

OLD_US: Final = 1_000_000
"""Design section 5.7: what was done longer ago is not obeyed."""
SPARE_US: Final = 1_000
WRAP: Final = 2**16
"""The counts of a status: i16, u16 and u16."""
ON_PATH: Final = frozenset({JointState.ADVANCING, JointState.MOVING, JointState.RAMPING})
UNDER_WAY: Final = frozenset(
    {
        *(ArmPhase.JOGGING, ArmPhase.HOMING, ArmPhase.LOADING),
        *(ArmPhase.PREPARING, ArmPhase.STARTING, ArmPhase.MOVING),
        ArmPhase.WAITING,
    }
)


@dataclass(frozen=True, slots=True)
class _Count:
    """What a joint's control has counted, from an instant on."""

    at_us: int
    counts: tuple[int, int, int]
    """Detents, presses and long presses, modulo WRAP."""


class OnlyAsTouched(Invariant):
    """Keeps what was truly done at every control."""

    name = "touch"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._done: dict[tuple[str, int], list[_Count]] = {}
        """By joint and boot: what is told may be on its way since before a restart."""
        self._told: dict[tuple[int, str, int], int] = {}
        """By laptop, joint and boot: the place in `_done` up to which it was told."""
        self._turned: dict[str, Bounds] = {}
        self._ends: dict[str, float] = {}
        """Where the last turn of each of these ends."""
        self._mixed: set[str] = set()
        """Joints whose control was turned, and of which others asked more before that was done."""
        self._asked: list[ev.Command] = []
        """What was asked for, of which is not known yet whether a control did."""
        self._ills = Ills()

    # ---- what is told is true -----------------------------------------------------------------

    def felt(self, laptop: Laptop, touched: ev.Touched, obeyed: tuple[ev.Command, ...]) -> None:
        node = next(one for one in self.world.nodes.values() if one.name == touched.joint)
        self._judge_told(laptop, node, touched)
        self._flush(obeyed)
        self._judge_obeyed(laptop, touched, obeyed)
        for command in obeyed:
            if isinstance(command, ev.Step):
                self._turn(laptop, node, touched.turn)

    def _judge_told(self, laptop: Laptop, node: Node, touched: ev.Touched) -> None:
        status = laptop.core.named(node.name).status
        assert status is not None, "it was touched by its status"
        now = status.touch_turn, status.touch_presses, status.touch_long_presses
        by = touched.turn, touched.presses, touched.long_presses
        until = tuple(one % WRAP for one in now)
        since = tuple((one - more) % WRAP for one, more in zip(now, by, strict=True))
        done = self._done[node.id, status.boot]
        first = self._told.get((laptop.number, node.id, status.boot), 0)
        ends = [k for k in range(first, len(done)) if done[k].counts == until]
        begins = [k for k in range(first, max(ends, default=0)) if done[k].counts == since]
        if not begins:
            raise self.broken(
                f"{touched.turn:+d} detents, {touched.presses} and {touched.long_presses} presses "
                f"are told of {node.name}, which were not made since they were told last"
            )
        # Turned to and fro it comes to the same counts again, maybe since this status went.
        self._told[laptop.number, node.id, status.boot] = next(k for k in ends if k > begins[0])
        ago_us = self.world.now - done[begins[-1] + 1].at_us
        if ago_us > OLD_US + SPARE_US:
            raise self.broken(
                f"what was done at {node.name} {ago_us / 1e3:.0f} ms ago is told as if it were new"
            )

    # ---- what comes of it ---------------------------------------------------------------------

    def _judge_obeyed(
        self, laptop: Laptop, touched: ev.Touched, obeyed: tuple[ev.Command, ...]
    ) -> None:
        arm, name = self.world.arm, touched.joint
        listens, does = arm.joint(name).touch, arm.touch
        presses = {
            what
            for what, times in (
                (does.press, touched.presses), (does.long_press, touched.long_presses),
            )
            if times and listens
        }  # fmt: skip
        detents = touched.turn if listens else 0
        for command in obeyed:
            match command:
                case ev.Step(joint=joint, by_deg=by_deg):
                    right = joint == name and detents
                    right = right and abs(by_deg - detents * does.detent_deg) < 1e-9
                    if right:
                        self._judge_path(laptop, name)
                case ev.Hold():
                    right = bool(presses & {"hold", "play"})
                case ev.Play():
                    right = "play" in presses
                case ev.Blink():
                    right = "record" in presses
                case _:
                    right = False
            if not right:
                raise self.broken(f"a touch of {name} by {detents} detents came to {command}")
        kinds = {type(command) for command in obeyed}
        under_way = arm_phase(laptop.core) in UNDER_WAY
        if "hold" in presses and under_way and not kinds & {ev.Hold, ev.Play}:
            raise self.broken(f"the control of {name} was pressed to hold, and nothing holds")

    def _judge_path(self, laptop: Laptop, name: str) -> None:
        for node in self.world.nodes.values():
            same = node.unit.joint.session == laptop.core.session
            if same and body_of(node).state in ON_PATH:
                raise self.broken(f"a turn at {name} is obeyed while {node.name} is on its path")

    # ---- how far ------------------------------------------------------------------------------

    def _turn(self, laptop: Laptop, node: Node, detents: int) -> None:
        joint, session = self.world.arm.joint(node.name), laptop.core.session
        position, speed = body_of(node).position(self.judge.joint_us(node))
        known = self._turned.get(node.id)
        if known is None or known.session != session:
            if speed or node.id in self._mixed:
                return  # on its way by what was asked for before: `steps` has its sum
            known = self._turned[node.id] = Bounds(session, position, position)
            self._ends[node.id] = position
        # Steps are summed before they are rounded.
        turned = detents * self.world.arm.touch.detent_deg * joint.counts_per_degree
        end = self._ends[node.id] = self._ends[node.id] + turned
        known.low, known.high = min(known.low, end), max(known.high, end)

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        self._asked.append(command)

    def _flush(self, touches: tuple[ev.Command, ...]) -> None:
        """What others asked for ends what controls did."""
        for command in self._asked:
            by_touch = any(command is one for one in touches)
            if not by_touch and not isinstance(command, ev.Blink):
                self._mixed |= self._turned.keys()
                self._turned.clear()
            if not by_touch and isinstance(command, ev.Step):
                # It may not have begun yet, where the joint is hard to reach or a clear is awaited.
                self._mixed.add(self.world.arm.joint(command.joint).id)
        self._asked.clear()

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        known, core = self._turned.get(joint_id), laptop.core
        if core.jog.is_stepping(core.named(self.world.nodes[joint_id].name)):
            return
        self._mixed.discard(joint_id)
        if known is not None and known.session == core.session:
            del self._turned[joint_id]

    # ---- what is truly done -------------------------------------------------------------------

    def touched(self, node: Node) -> None:
        joint, done = node.unit.joint, self._done.setdefault((node.id, node.boot), [])
        counts = (
            joint.touch_turn % WRAP,
            joint.touch_presses % WRAP,
            joint.touch_long_presses % WRAP,
        )
        if not done or done[-1].counts != counts:
            done.append(_Count(self.world.now, counts))
        self._judge_place(node)

    def _judge_place(self, node: Node) -> None:
        self._flush(())
        if beyond := self._ills.beyond(self.judge, node, self._turned):
            raise self.broken(f"{node.name} is {beyond:.0f} counts beyond what it was turned")

    def rebooted(self, node: Node) -> None:
        self._turned.pop(node.id, None)
