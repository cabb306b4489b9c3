"""I11: nothing moves on reconnect, restart or cleared fault without a new command; nothing
withdrawn, old or of another session ever takes effect.

Every beginning of a motion must have a cause: a command of the right kind that names the joint,
given to the coordinator whose session the joint is in, after that session began, after the laptop
last slept, and after the joint last had a fault, a stop or a new boot. A cause is used up: a play
or resume by the joint's own start, and for all joints once the arm is said to be held or paused; a
home by the joint being homed; a jog by time, which is not judged where the clock is broken. An
advance or a homing that was cut short may begin again by the same command.
"""

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.constants import EXPIRY_US
from protocol.drive import Drive
from protocol.states import JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

S = JointState
PENDING_US = 1_500_000
RENEWAL_US = 300_000
"""A jog must be asked for again within this time, or its control was let go."""
SPARE_US = 20_000
"""For the errors of clocks."""
ON_PATH = (S.ADVANCING, S.MOVING)
WORDS = {
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
        self._slept: dict[int, tuple[int, int]] = {}
        """By session: when its laptop woke up last, and until when older starts may come."""
        self._void_us: dict[str, int] = {}
        """By joint: what was asked before is void."""
        self._ill: dict[str, tuple[int, int]] = {}
        """By joint: its faults and the stop latched, as last seen."""
        self._before: dict[str, JointState] = {}
        self._newest: dict[str, tuple[int | None, int]] = {}

    def commanded(self, station: Station, command: ev.Command) -> None:
        session, now = station.core.session, self.world.now
        names = [node.name for node in self.world.nodes.values()]
        match command:
            case ev.Play() | ev.Resume():
                for name in names:
                    self._asked.update({(session, name, state): now for state in ON_PATH})
            case ev.Home(joints=joints):
                for name in joints or names:
                    self._asked[session, name, S.HOMING] = now
            case ev.Jog(joint=name, velocity_deg_s=velocity):
                key, until_us = (session, name), now + EXPIRY_US
                if velocity:
                    self._asked[session, name, S.JOGGING] = now
                    self._jog_until_us[key] = until_us + RENEWAL_US
                else:
                    self._jog_until_us[key] = min(self._jog_until_us.get(key, 0), until_us)

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        run = station.core.run
        if run is not None and run.phase in (Phase.HELD, Phase.PAUSED):
            for node in self.world.nodes.values():
                self._use_up(drive.session, node, ON_PATH)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._use_up(node.unit.joint.session or 0, node, (S.HOMING,))

    def _use_up(self, session: int, node: Node, states: tuple[JointState, ...]) -> None:
        for state in states:
            self._asked.pop((session, node.name, state), None)

    def slept(self, station: Station, slept_us: int) -> None:
        # A start that was set before may still come: less than 1.5 s after it was set.
        self._slept[station.core.session] = self.world.now, self.world.now - slept_us + PENDING_US

    def crashed(self, station: Station) -> None:
        pass  # Its session is never used again; what it asked for may still be under way.

    def rebooted(self, node: Node) -> None:
        self._void_us[node.id] = self.world.now
        self._before.pop(node.id, None)
        self._newest.pop(node.id, None)

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
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
        if state is S.JOGGING and node.id not in self.judge.broken_clock:
            self._judge_jog(node)
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

    def _judge_jog(self, node: Node) -> None:
        """Nobody jogs once the control was let go."""
        key = node.unit.joint.session or 0, node.name
        over_us = self.world.now - self._jog_until_us.get(key, 0)
        if over_us > SPARE_US:
            raise self.broken(
                f"{node.name} is jogging {over_us / 1e3:.0f} ms after the last jog asked for it "
                "was over"
            )
