"""One small world, what may strike it, and what must be so whenever it has come to rest."""

import math
import pickle
from collections.abc import Callable

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.link.link import JointLink
from coordinator.core.run import Phase
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.by_value import Sent
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import SILENCE_US, US
from protocol.drive import Drive
from protocol.states import AT_REST
from protocol.status import Status
from simulator.joint.joint import Joint
from simulator.network import Direction
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.hand import OnlyByLiveHands
from tests.campaign.invariants.i01_armed import AllArmed
from tests.campaign.invariants.i03_dead import RestWithoutCoordinator
from tests.campaign.invariants.i06_unhomed import NoBlindMotion
from tests.campaign.invariants.i11_command import OnlyByCommand
from tests.campaign.invariants.outputs import OutputsAsTold
from tests.campaign.invariants.place import NotBeyondPlace
from tests.campaign.invariants.steps import StepsAddUp
from tests.campaign.invariants.touch import OnlyAsTouched
from tests.campaign.judge import Judge, Violated
from tests.campaign.truth import body_of, path_of, path_us, plan_of, state_of
from tests.explore.at_rest import EXTRA
from tests.explore.found import Found, Merged, digest
from tests.explore.links import NAMES, PROGRAM, TICK_US, DecidedLink, Fate, quick_arm, units_of
from tests.explore.rests import rest_of

SETTLE_US = 40 * US
"""For a run to end or hold: loading and preparing have the most patience, 15 and 5 s."""
WELL_US = 12 * US
"""After faults a joint is connected again within 2 s, and measured some seconds later."""
HOME_US = 20 * US
PLAY_US = 10 * US
"""The run itself takes 1.5 s."""
LOOK_US = 100_000
ROUGH_US = 70_000
"""Two turns of the drives: the worst link delay becomes 0.14 s, a start delay 0.3 s."""


ALWAYS: tuple[type[Invariant], ...] = (
    *EXTRA,
    AllArmed,
    RestWithoutCoordinator,
    NoBlindMotion,
    OnlyByCommand,
    OnlyAsTouched,
    OnlyByLiveHands,
    StepsAddUp,
    NotBeyondPlace,
    OutputsAsTold,
)
"""Clocks, limits and positions (I4, I5, I9) need no rare order of messages: `campaign` has them."""


class Deviations(Judge):
    """Judges, and ends a schedule that has become the same as another.

    A drive that was late or came twice, and that the joint dropped without a trace, was as good as
    lost, or as if it had never come twice; those schedules are run too.
    """

    def __init__(self) -> None:
        super().__init__(ALWAYS)
        self._before: dict[str, bytes] = {}
        """What each joint was just before a drive comes that deviated."""

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        super().carried(joint_id, way, message)
        if not isinstance(message, Sent) or way != "forward":
            return
        node, link = self.world.nodes[joint_id], self.world.laptop.faulty_links[joint_id]
        assert isinstance(link, DecidedLink)
        if link.deviated.pop(self.world.now, None) is not None:
            if not node.alive:
                raise Merged
            self._before[joint_id] = _fingerprint(node)

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        super().drove(joint_id, laptop, drive, status)
        before = self._before.pop(joint_id, None)
        if before is not None and before == _fingerprint(self.world.nodes[joint_id]):
            raise Merged


class Scope:
    """A world of `count` joints, brought up and homed, that can be copied between two ticks.

    On a `rough` network a run of loss is remembered, so that leads are longer than a turn.
    """

    def __init__(
        self, count: int, found: Found, *, rough: bool = False, acceleration_deg_s2: int = 240
    ) -> None:
        self.found = found
        self.decisions: list[str] = []
        self.width = 0.0
        """Messages that may still deviate."""
        self.messages = 0
        """Sent since the search began to ask about them."""
        self.asked: list[tuple[int, bool]] = []
        self.struck: str | None = None
        """What happened, beside deviations."""
        self.deviated_us: int | None = None
        self.trace: list[str] | None = None
        """What was sent and decided, where somebody wants to read it."""
        self._script: dict[int, Fate] = {}
        arm = quick_arm(count, acceleration_deg_s2)
        judge = self.judge = Deviations()
        units = units_of(arm, BEGIN_US)
        self.world = World(arm, units, "none", 1, observer=judge)
        for node in self.world.nodes.values():
            self.world.laptop.faulty_links[node.id] = DecidedLink(node.name, self._decide)
        judge.begin(self.world)
        self.take(PROGRAM)
        self._wait("the joints come up", self._well, WELL_US)
        self._bring_home()
        if rough:
            self.world.cut(NAMES[1], ROUGH_US)
            self.world.run_for(WELL_US)
        self.began_us = self.world.now

    def take(self, program: str) -> None:
        """Play this from now on, without the letters of joints that are not there."""
        self.text = program
        for letter in "ABC"[len(self.world.nodes) :]:
            words = [word for word in self.text.split(" ") if not word.startswith(letter)]
            self.text = " ".join(words)

    # ---- what the search asks for -------------------------------------------------------------

    def ask_about(self, messages: int | None) -> None:
        """From now on so many messages may deviate; None for all."""
        self.width = math.inf if messages is None else messages

    def step(self, script: dict[int, Fate]) -> list[tuple[int, bool]]:
        """Let a tick pass in which messages meet the fates given for them, by their numbers.

        Gives the messages that could have met another one, and whether each is a datagram.
        """
        self._script, self.asked = script, []
        self.tick()
        self._script = {}
        self.found.states.add(digest(self._state()))
        return self.asked

    def strike(self, name: str, happen: Callable[["Scope"], None], tick: int) -> None:
        """Let something happen now."""
        self.struck = name
        self.decisions.append(f"{name}@{tick}")
        self._note(f"{name} happens")
        happen(self)

    def _decide(self, what: str, datagram: bool) -> Fate:
        if self.width <= 0:
            self._note(what)
            return Fate.NOW
        self.width -= 1
        self.messages += 1
        self.asked.append((self.messages, datagram))
        fate = self._script.get(self.messages, Fate.NOW)
        self._note(f"message {self.messages} {what}: {fate}")
        if fate is not Fate.NOW:
            self.decisions.append(f"{self.messages}={fate}")
            self.deviated_us = self.world.now
        return fate

    def _note(self, what: str) -> None:
        if self.trace is not None:
            states = " ".join(
                f"{node.name} {state_of(node).word} {plan_of(node)}"
                for node in self.world.nodes.values()
            )
            self.trace.append(f"{self.ms:8.1f} ms  {what:40} | {self.phase} | {states}")

    @property
    def ms(self) -> float:
        """Since the arm was homed."""
        return (self.world.now - self.began_us) / 1e3

    def tick(self) -> None:
        """Let one tick pass."""
        self.world.run_for(TICK_US)

    def until(self, what: str, condition: Callable[[], bool], limit_us: int) -> None:
        """Let ticks pass until something is so. Raises Violated where it does not come to be."""
        end_us = self.world.now + limit_us
        while not condition():
            if self.world.now >= end_us:
                raise Violated("I12", f"within {limit_us / US:g} s never: {what}", self.world.now)
            self.tick()

    def _state(self) -> tuple[object, ...]:
        """What one could see of coordinator, joints and what is on its way between them."""
        world = self.world
        run = world.core.run
        start = run.start if run else None
        joints = []
        for node, link in zip(world.nodes.values(), world.core.links, strict=True):
            path, status = path_of(node), link.status
            joints.append(
                (
                    state_of(node), plan_of(node), path.pending is not None, path.permit_us,
                    int(path_us(node, node.unit.joint_us(world.now))) // TICK_US,
                    body_of(node).latched, body_of(node).homed, body_of(node).outputs,
                    node.alive, link.connection.state,
                    status and (status.state, status.plan, status.permit_us),
                )
            )  # fmt: skip
        return (
            world.laptop.alive, run and run.phase, start and start.stage, start and start.plan,
            tuple(joints),
        )  # fmt: skip

    # ---- coming to rest -----------------------------------------------------------------------

    @property
    def links(self) -> list[JointLink]:
        """The coordinator's view of the joints."""
        return self.world.core.links

    @property
    def phase(self) -> Phase | None:
        """Of the run, if there is one."""
        return self.world.core.run.phase if self.world.core.run else None

    def play(self) -> None:
        """Ask for the program from where the arm stands. Raises Refused."""
        core = self.world.core
        program = parse_program(self.text, self.world.arm.letters)
        parts = plan_parts(program, self.world.arm, core.start_counts())
        self.world.command(ev.Play("small", self.text, parts))

    def finish(self) -> None:
        """Let everything come to rest, mend what is broken, and ask for a play (I3, I12)."""
        self.width = 0
        for node in self.world.nodes.values():
            if not node.unit.follows:
                node.unit.follows = True
                node.unit.input(self.world.now, 0, bool(body_of(node).outputs & 1))
                node.touched()
        if not self.world.laptop.alive:
            ramp_us = self.world.core.ramp.duration_us
            self._wait("all joints rest though nobody speaks to them", self._rest,
                       round(SILENCE_US + ramp_us) + 2 * TICK_US)  # fmt: skip
            self.world.start_coordinator()
        self._wait("the run holds or ends, all at rest", self._settled, SETTLE_US)
        self._wait("all joints are there again", lambda: self._well() and self._settled(), WELL_US)
        settled = digest(rest_of(self.world))
        if settled not in self.found.settled:
            self._succeed()
            self.found.settled.add(settled)

    def _rest(self) -> bool:
        return all(state_of(node) in AT_REST for node in self.world.nodes.values())

    def _settled(self) -> bool:
        over = self.phase in (None, Phase.HELD, Phase.PAUSED, Phase.ENDED)
        over = over and (self.world.core.homing is None or self._homed())
        return over and self._rest() and not any(link.orders.stop_wanted for link in self.links)

    def _well(self) -> bool:
        faulty_links, nodes, now = self.world.laptop.faulty_links, self.world.nodes, self.world.now
        return all(
            link.up
            and link.connection.configured
            and link.status is not None
            and link.clock.locked
            and link.quality.measured
            and nodes[link.joint.id].alive
            and link.status.state is state_of(nodes[link.joint.id])
            and link.status.boot == nodes[link.joint.id].unit.joint.identity.boot
            and faulty_links[link.joint.id].open(now)  # type: ignore[attr-defined]
            for link in self.links
        )

    def _succeed(self) -> None:
        """I12: what is held or paused goes on and ends, or else a new play does, after homing
        where due.
        """
        if self.phase in (Phase.HELD, Phase.PAUSED):
            self._insist("resume", lambda: self.world.command(ev.Resume()))
        else:
            if not all(link.status and link.status.homed for link in self.links):
                self._bring_home()
            self._insist("play", self.play)
        over = (Phase.ENDED, Phase.HELD, Phase.PAUSED)
        self._wait("the play ends", lambda: self.phase in over, PLAY_US)
        run = self.world.core.run
        assert run is not None
        if run.phase is not Phase.ENDED or run.report.outcome != "finished":
            raise Violated(
                "I12", f"the play is {run.phase}, {run.report.outcome}: {run.report.message}",
                self.world.now,
            )  # fmt: skip

    def _insist(self, name: str, ask: Callable[[], object]) -> None:
        """Ask until it is accepted. Raises Violated with the last refusal."""
        refusals = []
        end_us = self.world.now + WELL_US
        while self.world.now < end_us:
            try:
                ask()
            except ev.Refused as refused:
                refusals.append(f"{refused.code}: {refused.message}")
                self.world.run_for(LOOK_US)
            else:
                return
        raise Violated("I12", f"{name} is refused, {refusals[-1]}", self.world.now)

    def _bring_home(self) -> None:
        self._insist("home", lambda: self.world.command(ev.Home()))
        self._wait("homing ends", self._homed, HOME_US)
        homing = self.world.core.homing
        if homing is None or homing.state is not HomingState.DONE:
            raise Violated("I12", f"homing: {homing and homing.message}", self.world.now)

    def _homed(self) -> bool:
        homing = self.world.core.homing
        return homing is not None and homing.state is not HomingState.RUNNING

    def _wait(self, what: str, condition: Callable[[], bool], limit_us: int) -> None:
        if not self.world.run_until(condition, limit_us):
            raise Violated("I12", f"within {limit_us / US:g} s never: {what}", self.world.now)


def _fingerprint(node: Node) -> bytes:
    """All of a joint's firmware but its reading of the clock, brought up to now."""
    joint: Joint = node.unit.by_value(node.schedule.now, lambda joint, _now: joint)
    now, joint._now = joint._now, 0.0
    try:
        return pickle.dumps(joint)
    finally:
        joint._now = now
