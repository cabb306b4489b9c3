"""A world in which laptops and joints live, joined by simulated links, in virtual time.

Time is true time in µs; each laptop has its own arm time (`host`) and each joint its own joint
time. Everything that happens is an entry in one queue, ordered by its instant and then by when it
was made, so the same seed gives the same world. Messages pass as values, or as bytes and tags.
"""

import heapq
from collections.abc import Callable, Sequence
from itertools import count
from random import Random

from coordinator.arm import Arm
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.rehearsal.air import Air
from coordinator.rehearsal.by_value import ByValue, StreamEnd, poll_by_value
from coordinator.rehearsal.carriers import NO_ANSWER_US, Carrier, Happen
from coordinator.rehearsal.host import HostClock
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.station import Station
from simulator.network import BOTH, PROFILES, Direction, Profile
from simulator.unit import JointUnit

COORDINATOR_ID = bytes(range(16))
BEGIN_US = 1_000_000


class World:
    """Runs until asked. One laptop is there from the beginning; its coordinator is `core`."""

    def __init__(
        self,
        arm: Arm,
        units: Sequence[JointUnit],
        profile: str | Profile,
        seed: int,
        *,
        carrier: Callable[[Station], Carrier] = ByValue,
        poll: Callable[[Node], None] = poll_by_value,
        observer: Observer | None = None,
    ) -> None:
        self.arm = arm
        self.units = tuple(units)
        self.now = BEGIN_US
        self.random = Random(seed)
        self.profile = PROFILES[profile] if isinstance(profile, str) else profile
        self.observer = observer
        self.carrier_of = carrier
        self.nodes = {unit.settings.id: Node(self, unit) for unit in units}
        self.ends = {joint_id: StreamEnd() for joint_id in self.nodes}
        self.stations: list[Station] = []
        self._poll = poll
        self._queue: list[tuple[int, int, Happen, tuple[object, ...]]] = []
        self._order = count()
        for node in self.nodes.values():
            node.touched()
        self.add_station(COORDINATOR_ID, HostClock())

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

    def at(self, at_us: int, happen: Happen, *args: object) -> None:
        """Let something happen at an instant, in order."""
        heapq.heappush(self._queue, (at_us, next(self._order), happen, args))

    def _advance(self, end: int) -> bool:
        """Let the next thing happen, if it is not after `end`."""
        queue = self._queue
        if not queue or queue[0][0] > end:
            self.now = max(self.now, end)
            return False
        at_us, _, happen, args = heapq.heappop(queue)
        if at_us > self.now:
            self.now = at_us
        happen(*args)
        return True

    def poll(self, node: Node) -> None:
        """Bring a joint up to now, and send what it has to say."""
        self._poll(node)
        node.touched()

    # ---- laptops ------------------------------------------------------------------------------

    @property
    def station(self) -> Station:
        """The first laptop."""
        return self.stations[0]

    @property
    def core(self) -> Coordinator:
        """The first laptop's coordinator."""
        return self.stations[0].core

    @property
    def notes(self) -> list[ev.Note]:
        """What the first laptop's coordinator told people, oldest first."""
        return self.stations[0].notes

    def add_station(self, identity: bytes, host: HostClock) -> Station:
        """One more laptop with a coordinator of its own and its own links to all joints."""
        airs = {
            joint_id: Air(self.profile, self.random.getrandbits(63), self.now)
            for joint_id in self.nodes
        }
        station = Station(self, identity, host, airs, self.random.getrandbits(64) | 1)
        self.stations.append(station)
        return station

    def command(self, command: ev.Command) -> int | None:
        """The operator asks the first laptop for something. Raises Refused as the core does."""
        return self.station.command(command)

    def kill_coordinator(self) -> None:
        """The first laptop's coordinator is gone, with all that it knew."""
        self.station.crash()

    def start_coordinator(self) -> None:
        """A new coordinator on the first laptop, with a new session."""
        self.station.restart(self.random.getrandbits(64) | 1)

    # ---- joints and links ---------------------------------------------------------------------

    def node(self, name: str) -> Node:
        """A joint by its name. Raises KeyError."""
        return self.nodes[self.arm.joint(name).id]

    def kill_joint(self, name: str) -> None:
        """A joint loses its power: it stands where it is and answers no more."""
        node = self.node(name)
        node.unit.reboot(self.now)
        node.alive = False
        self.ends[node.id] = StreamEnd()
        for station in self.stations:
            station.carrier.joint_lost(node.id)
        if self.observer is not None:
            self.observer.rebooted(node)
        node.rewind()

    def restart_joint(self, name: str) -> None:
        """Power is back: the joint is there again, in the boot that its loss began."""
        node = self.node(name)
        if node.alive:
            return
        node.alive = True
        for station in self.stations:
            station.carrier.joint_back(node.id)
        node.rewind()

    def air(self, name: str, station: int = 0) -> Air:
        """The link between a laptop and a joint, to make it worse."""
        return self.stations[station].airs[self.arm.joint(name).id]

    def cut(self, name: str, duration_us: int, directions: Sequence[Direction] = BOTH) -> None:
        """Nothing passes between the first laptop and a joint for a while."""
        joint_id = self.arm.joint(name).id
        self.station.airs[joint_id].cut(self.now, self.now + duration_us, directions)
        if duration_us > NO_ANSWER_US:
            self.at(self.now + NO_ANSWER_US, self.station.carrier.cut_off, joint_id)
