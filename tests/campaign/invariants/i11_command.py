"""I11: nothing moves on reconnect, restart or cleared fault without a new command; nothing
withdrawn, old or of another session ever takes effect.

Every beginning of a motion must have a cause: a command of the right kind, given to the coordinator
whose session the joint is in, after that session began, after the laptop last slept, and after the
joint last had a fault, a stop or a new boot.
"""

from coordinator.core import events as ev
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.drive import Drive
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

S = JointState
PENDING_US = 1_500_000
CAUSES: dict[JointState, tuple[type, ...]] = {
    S.HOMING: (ev.Home,),
    S.JOGGING: (ev.Jog,),
    S.ADVANCING: (ev.Resume, ev.Play),
    S.MOVING: (ev.Play, ev.Resume),
}


class OnlyByCommand(Invariant):
    """Keeps commands by laptop, and what makes them void."""

    name = "I11"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._commands: dict[int, list[tuple[int, type]]] = {}
        """By session: when which kind was accepted, oldest first."""
        self._slept: dict[int, tuple[int, int]] = {}
        """By session: when its laptop woke up last, and until when older starts may come."""
        self._void_us: dict[str, int] = {}
        """By joint: what was asked before is void."""
        self._ill: dict[str, tuple[int, int]] = {}
        """By joint: its faults and the stop latched, as last seen."""
        self._before: dict[str, JointState] = {}
        self._newest: dict[str, tuple[int | None, int]] = {}

    def commanded(self, station: Station, command: ev.Command) -> None:
        asked = self._commands.setdefault(station.core.session, [])
        asked.append((self.world.now, type(command)))

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
        if state is before:
            return
        self._before[node.id] = state
        kinds = CAUSES.get(state)
        if kinds is None or (before in MOVING_STATES and before is not S.STOPPING):
            return
        session = node.unit.joint.session
        void_us = self._void_us.get(node.id, -1)
        asked = self._commands.get(session or 0, ())
        woke_us, until_us = self._slept.get(session or 0, (0, 0))
        if self.world.now > until_us:
            void_us = max(void_us, woke_us)
        if not any(at_us >= void_us and kind in kinds for at_us, kind in asked):
            wanted = " or ".join(kind.__name__.lower() for kind in kinds)
            raise self.broken(
                f"{node.name} began to be {state.word} with no {wanted} asked of its coordinator "
                f"since {max(0, void_us) / 1e6:.3f} s"
            )
