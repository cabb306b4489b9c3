"""A world in which one coordinator and its joints live, joined by simulated links.

Time is true time in µs, which the coordinator's arm time equals. Everything that happens is an
entry in one queue, ordered by its instant and then by when it was made, so the same seed gives
the same world. Messages pass as values.
"""

import heapq
from collections.abc import Callable, Sequence
from functools import partial
from itertools import count
from random import Random

from coordinator.arm import Arm
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.timing.exchange import Exchange
from protocol.discovery import Announcement
from protocol.messages import Ack, Capabilities, Reject, Welcome
from protocol.points import PointsFrame
from protocol.status import Status
from simulator.network import BOTH, PROFILES, Link, Profile
from simulator.unit import JointUnit

COORDINATOR_ID = bytes(range(16))
NO_PROOF = "0" * 64
"""Values need no proofs; the bytes that carry them do."""
ANNOUNCED_US = 1_000
BEGIN_US = 1_000_000


class _Node:
    """One joint with its link."""

    def __init__(self, unit: JointUnit, link: Link) -> None:
        self.unit = unit
        self.link = link
        self.connected = False
        self.alive = True


class World:
    """Runs until asked; the coordinator is `core`, the joints are `units`, base to tool."""

    def __init__(
        self, arm: Arm, units: Sequence[JointUnit], profile: str | Profile, seed: int
    ) -> None:
        self.arm = arm
        self.units = tuple(units)
        self.now = BEGIN_US
        self.notes: list[ev.Note] = []
        self.random = Random(seed)
        shape = PROFILES[profile] if isinstance(profile, str) else profile
        self._nodes = {
            unit.settings.id: _Node(unit, Link(shape, self.random.getrandbits(63), BEGIN_US))
            for unit in units
        }
        self._queue: list[tuple[int, int, Callable[[], None]]] = []
        self._order = count()
        self._numbers = count(1)
        self._coordinator_alive = True
        self._epoch = 0
        self.core = Coordinator(arm, COORDINATOR_ID, self.random.getrandbits(64))
        self._announce()

    # ---- running ------------------------------------------------------------------------------

    def run_until(self, until: Callable[[], bool], limit_us: int) -> bool:
        """Let time pass until a condition holds; False when the limit is reached first."""
        end = self.now + limit_us
        while not until():
            if not self._advance(end):
                return until()
        return True

    def run_for(self, duration_us: int) -> None:
        """Let time pass."""
        end = self.now + duration_us
        while self._advance(end):
            pass

    def at(self, at_us: int, happen: Callable[[], None]) -> None:
        """Let something happen at an instant, in order."""
        heapq.heappush(self._queue, (at_us, next(self._order), happen))

    def command(self, command: ev.Command) -> int | None:
        """The operator asks for something now. Raises Refused as the core does."""
        number = self.core.command(command, self.now)
        self._act()
        return number

    def kill_coordinator(self) -> None:
        """The coordinator is gone, with all that it knew."""
        self._coordinator_alive = False
        for node in self._nodes.values():
            node.connected = False

    def start_coordinator(self) -> None:
        """A new coordinator with the same lasting id and a new session."""
        self._coordinator_alive = True
        self._epoch += 1
        self.core = Coordinator(self.arm, COORDINATOR_ID, self.random.getrandbits(64))
        self._announce()

    def kill_joint(self, name: str) -> None:
        """A joint loses its power: it stands where it is, and its stream breaks."""
        node = self._node(name)
        node.unit.reboot(self.now)
        node.alive = False
        self._break_stream(node, "its stream ended")

    def restart_joint(self, name: str) -> None:
        """Power is back: the joint is there again, in the boot that its loss began."""
        self._node(name).alive = True

    def link(self, name: str) -> Link:
        """The link of a joint, to cut it or make it worse."""
        return self._node(name).link

    def cut(self, name: str, duration_us: int, directions: Sequence[str] = BOTH) -> None:
        """Nothing passes to or from a joint for a while."""
        ways = tuple(way for way in BOTH if way in directions)
        self.link(name).outage(self.now, self.now + duration_us, ways)

    # ---- internals ----------------------------------------------------------------------------

    def _node(self, name: str) -> _Node:
        return next(node for node in self._nodes.values() if node.unit.settings.name == name)

    def _announce(self) -> None:
        for joint_id, node in self._nodes.items():
            found = ev.Found(
                node.unit.settings.name, "world", 1, Announcement(joint_id, "world", 1)
            )
            self._soon(ANNOUNCED_US, partial(self._handle, found))

    def _soon(self, after_us: int, happen: Callable[[], None]) -> None:
        self.at(self.now + after_us, happen)

    def _advance(self, end: int) -> bool:
        """Let the next thing happen, if it is not after `end`."""
        due = self._queue[0][0] if self._queue else end + 1
        first: _Node | None = None
        for node in self._nodes.values():
            deadline = node.unit.next_deadline() if node.alive else None
            if deadline is not None and deadline < due:
                due, first = int(deadline), node
        if self._coordinator_alive:
            deadline = self.core.next_deadline()
            if deadline <= due and deadline <= end:
                self.now = max(self.now, deadline)
                self._act()
                return True
        if due > end:
            self.now = end
            return False
        self.now = max(self.now, due)
        if first is not None:
            # One µs later than its instant, so that what was due has surely come.
            self.now = max(self.now, due + 1)
            self._events(first)
        else:
            heapq.heappop(self._queue)[2]()
        return True

    def _handle(self, event: ev.Event) -> None:
        if self._coordinator_alive:
            self.core.handle(event, self.now)
            self._act()

    def _act(self) -> None:
        for action in self.core.poll(self.now):
            match action:
                case ev.SendDrive():
                    self._send_drive(action)
                case ev.SendFrame():
                    self._send_frame(action)
                case ev.Connect():
                    self._connect(action)
                case ev.Disconnect(joint_id=joint_id):
                    self._nodes[joint_id].connected = False
                case ev.Note():
                    self.notes.append(action)

    # ---- datagrams ----------------------------------------------------------------------------

    def _send_drive(self, action: ev.SendDrive) -> None:
        node, sent, epoch = self._nodes[action.joint_id], self.now, self._epoch
        sequence = action.drive.sequence
        self.core.handle(ev.DriveSent(action.joint_id, sequence, sent), sent)
        for arrival in node.link.forward(sent):
            self.at(arrival, lambda: self._drive_arrives(node, action, sent, epoch))

    def _drive_arrives(self, node: _Node, action: ev.SendDrive, sent: int, epoch: int) -> None:
        if not node.alive:
            return
        joint_us, status = node.unit.by_value(
            self.now, lambda joint, now: (now, joint.drive(action.drive, now))
        )
        self._events(node)
        if status is None:
            return
        # T2 rounded up and T3 down, as a shell must, so that rounding never tightens a limit.
        received, replied = int(-(-joint_us // 1)), int(joint_us // 1)
        for arrival in node.link.back(self.now):
            self.at(
                arrival,
                lambda: self._reply_arrives(action, sent, received, replied, status, epoch),
            )

    def _reply_arrives(
        self,
        action: ev.SendDrive,
        sent: int,
        received: int,
        replied: int,
        status: Status,
        epoch: int,
    ) -> None:
        if epoch != self._epoch or action.drive.session != self.core.session:
            return
        exchange = Exchange(sent, received, replied, self.now)
        self._handle(ev.Replied(action.joint_id, action.drive.sequence, exchange, status))

    # ---- streams ------------------------------------------------------------------------------

    def _connect(self, action: ev.Connect) -> None:
        node, epoch = self._nodes[action.joint_id], self._epoch
        self._soon(
            node.link.stream_delay("forward", self.now), lambda: self._prove(node, action, epoch)
        )

    def _prove(self, node: _Node, action: ev.Connect, epoch: int) -> None:
        joint, name = node.unit.joint, node.unit.settings.name
        if not node.alive:
            self._answer(
                node, epoch, ev.LinkDown(action.joint_id, "unreachable", f"{name} is away")
            )
            return
        refusal = node.unit.by_value(
            self.now,
            lambda joint, now: joint.session_refusal(COORDINATOR_ID, action.session, now),
        )
        if refusal is not None:
            self._answer(node, epoch, ev.LinkDown(action.joint_id, refusal.code, refusal.message))
            return
        node.unit.by_value(
            self.now, lambda joint, now: joint.begin_session(COORDINATOR_ID, action.session, now)
        )
        trajectory, next_index = joint.loaded
        welcome = Welcome(
            id=action.joint_id,
            firmware="world",
            boot=joint.identity.boot,
            nonce=NO_PROOF,
            proof=NO_PROOF,
            capabilities=Capabilities(
                point_capacity=joint.point_capacity, max_step_rate_hz=joint.max_step_rate_hz
            ),
            configuration=joint.configuration_digest,
            trajectory=trajectory,
            next_index=next_index,
        )
        node.connected = True
        self._answer(node, epoch, ev.LinkUp(action.joint_id, welcome))
        self._events(node)

    def _break_stream(self, node: _Node, message: str) -> None:
        if node.connected:
            node.connected = False
            down = ev.LinkDown(node.unit.settings.id, "stream-closed", message)
            self._soon(1_000, lambda: self._handle(down))

    def _answer(self, node: _Node, epoch: int, event: ev.Event) -> None:
        delay = node.link.stream_delay("back", self.now)
        self._soon(delay, lambda: self._handle(event) if epoch == self._epoch else None)

    def _send_frame(self, action: ev.SendFrame) -> None:
        node, number, epoch = self._nodes[action.joint_id], next(self._numbers), self._epoch
        self.core.handle(ev.FrameSent(action.joint_id, action.token, number), self.now)
        delay = node.link.stream_delay("forward", self.now)
        self._soon(delay, lambda: self._frame_arrives(node, action, number, epoch))

    def _frame_arrives(self, node: _Node, action: ev.SendFrame, number: int, epoch: int) -> None:
        if not node.alive or not node.connected or epoch != self._epoch:
            return
        content = action.content
        refusal = node.unit.by_value(
            self.now,
            lambda joint, now: (
                joint.points(content, now)
                if isinstance(content, PointsFrame)
                else joint.request(content, now)
            ),
        )
        report = (
            Ack(ref=number)
            if refusal is None
            else Reject(ref=number, code=refusal.code, message=refusal.message)
        )
        self._answer(node, epoch, ev.Reported(action.joint_id, report))
        self._events(node)

    def _events(self, node: _Node) -> None:
        """Bring a joint up to now and send what it has to say."""
        events = node.unit.by_value(self.now, lambda joint, _now: joint.take_events())
        if node.connected:
            for event in events:
                self._answer(node, self._epoch, ev.Reported(node.unit.settings.id, event))
