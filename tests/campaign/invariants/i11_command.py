"""I11: nothing moves on reconnect, restart or cleared fault without a new command; nothing
withdrawn, old or of another session ever takes effect.

Every beginning of a motion must have a cause: a command of the right kind that names the joint,
given to the coordinator whose session the joint is in, after that session began, after the laptop
last slept, and after the joint last had a fault, a stop or a new boot. A cause is used up: a play
or resume by the joint's own start, and for all joints once the arm is said to be held or paused;
where a run waited for an input that truly is as it should be, or begins another loop, it goes on
by the same command. A home by the joint being homed, and one that is held by time as well; a jog
or step by time. Time is not judged where the clock is broken. An advance or a homing that was cut
short may begin again by the same command.
"""

from typing import Final

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.motion.outputs import Awaited
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import EXPIRY_US, US
from protocol.drive import Drive
from protocol.states import JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

S = JointState
PENDING_US: Final = 1_500_000
RENEWAL_US: Final = 300_000
"""A jog must be asked for again within this time, or its control was let go."""
STEP_SPARE_US: Final = 3_000_000 + 500_000 + EXPIRY_US
"""What a step may take beyond twice its angle at its speed, and wait there for another."""
SPARE_US: Final = 20_000
"""For the errors of clocks."""
ON_PATH: Final = (S.ADVANCING, S.MOVING)
WORDS: Final = {
    S.HOMING: "home",
    S.JOGGING: "jog",
    S.ADVANCING: "play or resume",
    S.MOVING: "play or resume",
}


class OnlyByCommand(Invariant):
    """Keeps the newest command of each kind by joint, and what makes it void."""

    name = "I11"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._asked: dict[tuple[int, str, JointState], int] = {}
        """By session, joint and what it may begin by it: when that was accepted last."""
        self._jog_until_us: dict[tuple[int, str], int] = {}
        """By session and joint: when what was asked of it is over at the latest."""
        self._home_until_us: dict[tuple[int, str], int] = {}
        """By session and joint: when a homing that is held is over; none that goes on by itself."""
        self._stepped: set[tuple[int, str]] = set()
        """By session and joint: what was asked for last was a step."""
        self._slept: dict[int, tuple[int, int]] = {}
        """By session: when its laptop woke up last, and until when older starts may come."""
        self._void_us: dict[str, int] = {}
        """By joint: what was asked before is void."""
        self._ill: dict[str, tuple[int, int]] = {}
        """By joint: its faults and the stop latched, as last seen."""
        self._before: dict[str, JointState] = {}
        self._newest: dict[str, tuple[int | None, int]] = {}
        self._plays: dict[int, int] = {}
        """By session: when the play or resume was accepted by which a run goes on."""
        self._waits: dict[int, Awaited] = {}
        """By session: for what a run waited as it was last looked at."""
        self._loops: dict[int, tuple[int, int]] = {}
        """By session: number and part of its newest run in several loops."""

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        session, now = laptop.core.session, self.world.now
        names = [node.name for node in self.world.nodes.values()]
        match command:
            case ev.Play() | ev.Resume():
                self._plays[session] = now
                for name in names:
                    self._asked.update({(session, name, state): now for state in ON_PATH})
            case ev.Hold():
                self._plays.pop(session, None)
            case ev.Home(joints=joints):
                for name in joints or names:
                    self._asked[session, name, S.HOMING] = now
                    self._home_until_us.pop((session, name), None)
            # Held on after the joint is homed, it asks for nothing more.
            case ev.HoldHome(joint=name) if laptop.core.moved_by_hand:
                self._asked[session, name, S.HOMING] = now
                self._home_until_us[session, name] = now + EXPIRY_US + RENEWAL_US
            case ev.Jog(velocities_deg_s=velocities_deg_s):
                for name in names:
                    key, until_us = (session, name), now + EXPIRY_US
                    if not any(velocities_deg_s.values()) and key in self._home_until_us:
                        self._home_until_us[key] = min(self._home_until_us[key], until_us)
                    if velocities_deg_s.get(name):
                        self._asked[session, name, S.JOGGING] = now
                        self._jog_until_us[key] = until_us + RENEWAL_US
                    elif key not in self._stepped:
                        self._jog_until_us[key] = min(self._jog_until_us.get(key, 0), until_us)
                    if velocities_deg_s.get(name):
                        self._stepped.discard(key)
            case ev.Go(targets_deg=targets_deg):
                for name in names:
                    key, until_us = (session, name), now + EXPIRY_US
                    if name in targets_deg:
                        self._asked[session, name, S.JOGGING] = now
                        self._jog_until_us[key] = until_us + RENEWAL_US
                        self._stepped.discard(key)
            case ev.Step(joint=name, by_deg=by_deg, speed_deg_s=speed_deg_s):
                key = session, name
                self._asked[session, name, S.JOGGING] = now
                begun_us = max(now, self._jog_until_us.get(key, 0))
                way_us = round(abs(by_deg) / speed_deg_s * US)
                self._jog_until_us[key] = begun_us + 2 * way_us + STEP_SPARE_US
                self._stepped.add(key)

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        run = laptop.core.run
        waited = self._waits.pop(drive.session, None)
        if run is not None and run.phase is Phase.WAITING and run.awaited is not None:
            self._waits[drive.session] = run.awaited
        elif run is not None and run.phase is Phase.LOADING and waited is not None:
            self._judge_waited(waited)
            self._goes_on(drive.session)
        if run is not None and run.play.loops.several:
            before, now = self._loops.get(drive.session), (run.number, run.part)
            self._loops[drive.session] = now
            if before is not None and before[0] == now[0] and before[1] < now[1]:
                self._goes_on(drive.session)
        if run is not None and run.phase in (Phase.HELD, Phase.PAUSED):
            self._plays.pop(drive.session, None)
            for node in self.world.nodes.values():
                self._use_up(drive.session, node, ON_PATH)

    def _judge_waited(self, waited: Awaited) -> None:
        """A run goes on by an input."""
        joint = self.world.arm.joints[waited.joint]
        if not waited.there(self.world.nodes[joint.id].unit.joint.inputs):
            raise self.broken(f"a run goes on, though {waited.wait.input} is not as it should be")

    def _goes_on(self, session: int) -> None:
        """A run goes on by itself: by the play or resume before."""
        asked_us = self._plays.get(session, -1)
        for node in self.world.nodes.values():
            self._asked.update({(session, node.name, state): asked_us for state in ON_PATH})

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._use_up(node.unit.joint.session or 0, node, (S.HOMING,))

    def _use_up(self, session: int, node: Node, states: tuple[JointState, ...]) -> None:
        for state in states:
            self._asked.pop((session, node.name, state), None)

    def slept(self, laptop: Laptop, slept_us: int) -> None:
        # A start that was set before may still come: less than 1.5 s after it was set.
        self._slept[laptop.core.session] = self.world.now, self.world.now - slept_us + PENDING_US

    def crashed(self, laptop: Laptop) -> None:
        pass  # Its session is never used again; what it asked for may still be under way.

    def rebooted(self, node: Node) -> None:
        self._void_us[node.id] = self.world.now
        self._before.pop(node.id, None)
        self._newest.pop(node.id, None)

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        session = node.unit.joint.session
        known, newest = self._newest.get(node.id, (None, 0))
        if known != session:
            newest = 0
        if status is None:
            return
        if drive.session != session:
            raise self.broken(f"{node.name} took a drive of session {drive.session:016x}, "
                              f"its own is {session or 0:016x}")  # fmt: skip
        if drive.sequence <= newest:
            raise self.broken(
                f"{node.name} took drive {drive.sequence} after drive {newest} of its session"
            )
        self._newest[node.id] = session, drive.sequence

    def touched(self, node: Node) -> None:
        body = body_of(node)
        state, before = body.state, self._before.get(node.id, S.UNHOMED)
        ill = int(body.faults), int(body.latched)
        if ill != self._ill.get(node.id, (0, 0)):
            self._ill[node.id] = ill
            if any(ill):
                self._void_us[node.id] = self.world.now
        if state in (S.JOGGING, S.HOMING) and node.id not in self.judge.broken_clock:
            self._judge_held(node, state)
        if state is before:
            return
        self._before[node.id] = state
        if state not in WORDS:
            return
        session = node.unit.joint.session or 0
        void_us = self._void_us.get(node.id, 0)
        asked_us = self._asked.get((session, node.name, state), -1)
        woke_us, until_us = self._slept.get(session, (0, 0))
        if self.world.now > until_us:
            void_us = max(void_us, woke_us)
        if asked_us < void_us:
            raise self.broken(
                f"{node.name} began to be {state.word} with no {WORDS[state]} asked for it of its "
                f"coordinator since {void_us / 1e6:.3f} s, or that was used up"
            )
        if state is S.MOVING:
            self._use_up(session, node, ON_PATH)

    def _judge_held(self, node: Node, state: JointState) -> None:
        """Nobody jogs, or homes by a control that is to be held, once it was let go."""
        key = node.unit.joint.session or 0, node.name
        homes = state is S.HOMING
        if homes and key not in self._home_until_us:
            return  # it goes on by itself
        until_us = (self._home_until_us if homes else self._jog_until_us).get(key, 0)
        over_us = self.world.now - until_us
        if over_us > SPARE_US:
            raise self.broken(
                f"{node.name} is {state.word} {over_us / 1e3:.0f} ms after the last "
                f"{WORDS[state]} asked for it was over"
            )
