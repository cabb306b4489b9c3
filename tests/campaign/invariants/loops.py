"""A run in loops plays what it says, and no loop that nobody wants (design section 5.10).

No more loops are said to be done than every joint has truly played, and in the end exactly those.
No part begins before every joint has truly finished the one before, none after a stop, none after a
hold before somebody resumes, and no loop once the time of the run is over. A joint whose home edge
is said to be where it should be has truly lost no steps to speak of; one that was found astray is
soon homed no more, and nothing is played before it was homed.
"""

import math
from dataclasses import dataclass, field
from typing import Final

from coordinator.codes.outcome import Outcome
from coordinator.core import events as ev
from coordinator.core.run import Phase, Run
from coordinator.motion import Part
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import ACTIVE_INTERVAL_US, EDGE_TIMING_US, US
from protocol.drive import Drive
from protocol.states import AT_REST, JointState
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of, limits_of, link_of, path_of, path_us, state_of

ROUNDED_US: Final = 1
"""Of path time: in whole µs a joint may tell so much more than is true."""
UNHOMED_US: Final = 10 * US
"""A joint that is astray, rests and is heard says so itself within this time."""
HEARD_US: Final = 500_000


@dataclass(slots=True)
class _Followed:
    """A run in loops."""

    run: Run
    parts: dict[int, tuple[int, Part]] = field(default_factory=dict)
    """By trajectory: index and part."""
    finished: dict[int, set[str]] = field(default_factory=dict)
    """By index: joints that truly came to its end."""
    turns_us: dict[int, list[int]] = field(default_factory=dict)
    """By trajectory: path times at which further loops of the part begin."""
    furthest_us: dict[tuple[int, str], float] = field(default_factory=dict)
    """By such a trajectory and joint: path time that it truly came to."""
    lost: dict[str, float] = field(default_factory=dict)
    """By joint: what it had truly lost since its homing as the newest part began."""
    passed: dict[str, int] = field(default_factory=dict)
    done: int = 0
    newest: int = -1
    """Index of the newest part."""
    is_over: bool = False
    is_held: bool = False
    is_told: bool = False


class LoopsAsTold(Invariant):
    """Follows each run in several loops."""

    name = "loops"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._runs: dict[tuple[int, int], _Followed] = {}
        """By session and number."""
        self._met: dict[str, int | None] = {}
        """By joint: what it had lost when it was homed last; None where it lost more meanwhile."""
        self._homing: dict[str, set[int]] = {}
        self._astray: dict[str, set[int]] = {}
        """By joint that was found astray, and not homed since: the sessions that found it."""
        self._well_us: dict[str, int] = {}
        """By such a joint: since when it rests and is heard by who found it."""
        self._heard_us: dict[str, int] = {}

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        if isinstance(command, ev.Play):
            self._judge_play(laptop)
        followed = self._followed(laptop)
        if followed is None:
            return
        match command:
            case ev.Stop():
                followed.is_over = True
            case ev.Hold():
                followed.is_held = True
            case ev.Resume():
                followed.is_held = False

    def _judge_play(self, laptop: Laptop) -> None:
        for joint_id, sessions in self._astray.items():
            node = self.world.nodes[joint_id]
            if laptop.core.session in sessions or not body_of(node).homed:
                raise self.broken(f"a play is accepted, and {node.name} was found astray")

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        self._follow(laptop)

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        self._follow(laptop)
        link, node = link_of(laptop, joint_id), self.world.nodes[joint_id]
        if link.doubt:
            self._astray.setdefault(joint_id, set()).add(laptop.core.session)
        if laptop.core.session in self._astray.get(joint_id, ()):
            self._judge_unhomed(node, up=link.up)

    def _judge_unhomed(self, node: Node, *, up: bool) -> None:
        """It is heard by who found it astray."""
        now, since_us = self.world.now, self._heard_us.get(node.id, 0)
        self._heard_us[node.id] = now
        if not up or now - since_us > HEARD_US or state_of(node) not in AT_REST:
            self._well_us[node.id] = now
        elif body_of(node).homed and now - self._well_us.get(node.id, now) > UNHOMED_US:
            raise self.broken(f"{node.name} was found astray, and still says that it is homed")

    def rebooted(self, node: Node) -> None:
        self._astray.pop(node.id, None)
        self._met.pop(node.id, None)

    def touched(self, node: Node) -> None:
        if state_of(node) is JointState.HOMING:
            self._homing.setdefault(node.id, set()).add(node.unit.slipped)
        trajectory = path_of(node).buffer.trajectory
        for (of, _), followed in self._runs.items():
            if trajectory in followed.turns_us and of == node.unit.joint.session:
                self._follow_joint(followed, node, trajectory)

    def _follow_joint(self, followed: _Followed, node: Node, trajectory: int) -> None:
        here_us = path_us(node, self.judge.joint_us(node))
        key = trajectory, node.id
        followed.furthest_us[key] = max(here_us, followed.furthest_us.get(key, 0.0))

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            slipped = self._homing.pop(node.id, set()) | {node.unit.slipped}
            self._met[node.id] = slipped.pop() if len(slipped) == 1 else None
            self._astray.pop(node.id, None)
            self._well_us.pop(node.id, None)
        if truth.event not in ("start", "finish"):
            return
        session = node.unit.joint.session or 0
        for (of, _), followed in self._runs.items():
            if of == session and truth.trajectory in followed.parts:
                self._tell(followed, node, truth)

    def _tell(self, followed: _Followed, node: Node, truth: WorldTruth) -> None:
        index, _ = followed.parts[truth.trajectory]
        if truth.event == "finish":
            followed.finished.setdefault(index, set()).add(node.id)
            return
        for before, part in followed.parts.values():
            lacking = self.world.nodes.keys() - followed.finished.get(before, set())
            if before < index and not part.is_empty and lacking:
                raise self.broken(
                    f"{node.name} begins part {index + 1} of a run in loops, and not every joint "
                    f"has finished part {before + 1}"
                )

    # ---- a run ----------------------------------------------------------------------------------

    def _followed(self, laptop: Laptop) -> _Followed | None:
        """The run of a laptop, where it is in loops."""
        run = laptop.core.run
        if run is None or not run.play.loops.several:
            return None
        key = laptop.core.session, run.number
        if key not in self._runs and run.phase is Phase.ENDED:
            return None  # it is over, and a session has begun since
        return self._runs.setdefault(key, _Followed(run))

    def _follow(self, laptop: Laptop) -> None:
        followed = self._followed(laptop)
        if followed is None:
            return
        run, report = followed.run, followed.run.report
        if report.cycles.done > followed.done:
            followed.done = report.cycles.done
            self._judge_done(followed)
        if report.edges_passed != followed.passed:
            self._judge_passed(followed)
        if run.part > followed.newest:
            self._judge_next(laptop, followed)
        if run.phase is Phase.ENDED and not followed.is_told:
            followed.is_told = True
            if report.outcome is Outcome.FINISHED:
                self._judge_finished(followed)

    def _judge_next(self, laptop: Laptop, followed: _Followed) -> None:
        """Another part is begun."""
        run = followed.run
        part = run.context.part_now
        assert isinstance(part, Part)  # whole: what is made while it is played is played once
        loops_before = {one.loop + len(one.turns) for _, one in followed.parts.values()}
        is_first, followed.newest = not loops_before, run.part
        followed.parts[run.context.trajectory] = run.part, part
        if part.turns:
            followed.turns_us[run.context.trajectory] = _turns_us(part)
        followed.lost = {
            node.name: node.unit.slipped - met
            for node in self.world.nodes.values()
            if (met := self._met.get(node.id)) is not None
        }
        if is_first:
            return
        if followed.is_over or followed.is_held:
            after = "a stop" if followed.is_over else "a hold"
            raise self.broken(f"part {run.part + 1} of run {run.number} begins after {after}")
        for_s = run.play.loops.for_s
        if for_s is not None and part.loop > max(loops_before):
            lasted_us = laptop.now - run.report.began_us
            if lasted_us > for_s * US + ACTIVE_INTERVAL_US:
                raise self.broken(
                    f"loop {part.loop} of run {run.number} begins {lasted_us / 1e3:.0f} ms after "
                    f"it began, and it is for {for_s:g} s"
                )

    def _judge_done(self, followed: _Followed) -> None:
        true = self._truly_done(followed)
        if followed.done > true:
            raise self.broken(
                f"run {followed.run.number} says that {followed.done} loops are done, the joints "
                f"have played {true}"
            )

    def _judge_finished(self, followed: _Followed) -> None:
        true, wanted = self._truly_done(followed), followed.run.play.loops.number
        if followed.done != true or wanted not in (None, true):
            raise self.broken(
                f"run {followed.run.number} finished and says that {followed.done} loops are done; "
                f"the joints have played {true}, {wanted or 'any number'} were wanted"
            )

    def _truly_done(self, followed: _Followed) -> int:
        """Loops that every joint has played, as it is now."""
        true = 0
        for trajectory, (index, part) in followed.parts.items():
            is_left = index < followed.run.part or followed.run.phase is Phase.ENDED
            is_nothing = part.is_empty and not part.edges
            if followed.finished.get(index, set()) >= self.world.nodes.keys() or (
                is_nothing and is_left  # such as a pause where the arm stands already
            ):
                true = max(true, _loops_over(followed.run, index, part))
            elif part.turns:
                here_us = min(
                    self._furthest_us(followed, node, trajectory)
                    for node in self.world.nodes.values()
                )
                turns_us = followed.turns_us[trajectory]
                over = sum(here_us >= turn_us - ROUNDED_US for turn_us in turns_us)
                true = max(true, part.loop - 1 + over)
        return true

    def _furthest_us(self, followed: _Followed, node: Node, trajectory: int) -> float:
        if node.id in self.judge.broken_clock:
            return math.inf
        return followed.furthest_us.get((trajectory, node.id), -math.inf)

    def _judge_passed(self, followed: _Followed) -> None:
        """More joints are said to be where they should be."""
        before, followed.passed = followed.passed, dict(followed.run.report.edges_passed)
        for node in self.world.nodes.values():
            limits = limits_of(node)
            if followed.passed.get(node.name) == before.get(node.name) or limits is None:
                continue
            if node.id in self.judge.false_home | self.judge.broken_clock:
                continue
            most = limits.full_step + EDGE_TIMING_US / US * (limits.velocity + limits.homing.fast)
            lost = math.remainder(followed.lost.get(node.name, 0.0), limits.counts_per_turn)
            if abs(lost) > most:
                raise self.broken(
                    f"the home edge of {node.name} is said to be where it should be, and it lost "
                    f"{lost:g} counts before"
                )


def _loops_over(run: Run, index: int, part: Part) -> int:
    """Loops that are over with a part; with one that only checks edges, those before."""
    last_loop = part.loop + len(part.turns)
    following = run.play.part(index + 1)
    if part.edges and following is not None and following.loop == last_loop:
        return last_loop - 1
    while following is not None and following.loop == last_loop and not following.edges:
        if not following.is_empty:
            return last_loop - 1
        index += 1
        following = run.play.part(index + 1)
    return last_loop


def _turns_us(part: Part) -> list[int]:
    return [move.start_us for k, move in enumerate(part.moves()) if k in part.turns]
