"""A world in which laptops and joints live, joined by simulated links, in virtual time.

Time is true time in µs; each laptop has its own arm time (`host`) and each joint its own joint
time. Everything that happens is an entry in one queue, ordered by its instant and then by when it
was made, so the same seed gives the same world. Messages pass as values, or as bytes and tags.
"""

from collections.abc import Callable, Sequence
from random import Random
from typing import Final

from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.rehearsal.by_bytes import ByBytes
from coordinator.rehearsal.by_value import ByValue
from coordinator.rehearsal.carrier import Carrier
from coordinator.rehearsal.faulty_link import FaultyLink
from coordinator.rehearsal.host import HostClock
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Happen, Schedule
from coordinator.rehearsal.stream import NO_ANSWER_US
from simulator.network import BOTH, PROFILES, Direction, Profile
from simulator.unit import JointUnit

COORDINATOR_ID: Final = bytes(range(16))
BEGIN_US: Final = 1_000_000
ANNOUNCED_US: Final = 1_000
"""After this time a coordinator that begins has heard of all joints."""


class World:
    """Runs until asked. One laptop is there from the beginning; its coordinator is `core`.

    Messages pass as values, or as bytes and tags where the arm's `key` is given.
    """

    def __init__(
        self,
        arm: Arm,
        units: Sequence[JointUnit],
        profile: str | Profile,
        seed: int,
        *,
        key: bytes | None = None,
        observer: Observer | None = None,
    ) -> None:
        self.arm = arm
        self.units = tuple(units)
        self.schedule = Schedule(BEGIN_US)
        self.random = Random(seed)
        self.profile = PROFILES[profile] if isinstance(profile, str) else profile
        self.carrier: Carrier
        if key is None:
            self.carrier = ByValue(self.schedule, self.random, observer)
        else:
            self.carrier = ByBytes(self.schedule, self.random, observer, key)
        self.nodes: dict[str, Node] = {}
        self.laptops: list[Laptop] = []
        self._observer = observer
        for unit in units:
            node = self.nodes[unit.settings.id] = Node(
                unit, self.schedule, observer, self.carrier.poll, self._restarted
            )
            self.carrier.add_joint(node)
        for node in self.nodes.values():
            node.touched()
        self.add_laptop(COORDINATOR_ID, HostClock())

    # ---- running ------------------------------------------------------------------------------

    @property
    def now(self) -> int:
        """True time."""
        return self.schedule.now

    def run_until(self, until: Callable[[], bool], limit_us: int) -> bool:
        """Let time pass until a condition holds; False when the limit is reached first."""
        return self.schedule.run_until(until, limit_us)

    def run_for(self, duration_us: int) -> None:
        """Let time pass."""
        self.schedule.run_for(duration_us)

    def at(self, at_us: int, happen: Happen, *args: object) -> None:
        """Let something happen at an instant, in order."""
        self.schedule.at(at_us, happen, *args)

    def poll(self, node: Node) -> None:
        """Bring a joint up to now, and send what it has to say."""
        self.carrier.poll(node)

    # ---- laptops ------------------------------------------------------------------------------

    @property
    def laptop(self) -> Laptop:
        """The first laptop."""
        return self.laptops[0]

    @property
    def core(self) -> Coordinator:
        """The first laptop's coordinator."""
        return self.laptops[0].core

    @property
    def notes(self) -> list[ev.Note]:
        """What the first laptop's coordinator told people, oldest first."""
        return self.laptops[0].notes

    def add_laptop(self, identity: bytes, host: HostClock) -> Laptop:
        """One more laptop with a coordinator of its own and its own links to all joints."""
        faulty_links = {
            joint_id: FaultyLink(self.profile, self.random.getrandbits(63), self.now)
            for joint_id in self.nodes
        }
        laptop = Laptop(
            len(self.laptops),
            self.arm,
            identity,
            host,
            faulty_links,
            session=self.random.getrandbits(64) | 1,
            schedule=self.schedule,
            random=self.random,
            observer=self._observer,
            carry_out=self.carrier.carry_out,
        )
        self.laptops.append(laptop)
        self.carrier.add_laptop(laptop)
        self.at(self.now + ANNOUNCED_US, self.carrier.announce, laptop)
        return laptop

    def command(self, command: ev.Command) -> int | None:
        """The operator asks the first laptop for something. Raises Refused as the core does."""
        return self.laptop.command(command)

    def kill_coordinator(self) -> None:
        """The first laptop's coordinator is gone, with all that it knew."""
        self.laptop.crash()

    def start_coordinator(self) -> None:
        """A new coordinator on the first laptop, with a new session; once that is awake."""
        self._start(self.laptop, self.random.getrandbits(64) | 1)

    def _start(self, laptop: Laptop, session: int) -> None:
        if laptop.asleep_until_us is not None:
            self.at(laptop.asleep_until_us + 1, self._start, laptop, session)
            return
        laptop.restart(session)
        self.carrier.announce(laptop)

    # ---- joints and links ---------------------------------------------------------------------

    def node(self, name: str) -> Node:
        """A joint by its name. Raises KeyError."""
        return self.nodes[self.arm.joint(name).id]

    def kill_joint(self, name: str) -> None:
        """A joint loses its power: it stands where it is and answers no more."""
        node = self.node(name)
        node.unit.reboot(self.now)
        node.alive = False
        self.carrier.lost(node)
        if self._observer is not None:
            self._observer.rebooted(node.id)
        node.rewind()

    def restart_joint(self, name: str) -> None:
        """Power is back: the joint is there again, in the boot that its loss began."""
        node = self.node(name)
        if node.alive:
            return
        node.alive = True
        self.carrier.is_back(node)
        node.rewind()

    def _restarted(self, node: Node) -> None:
        """A joint restarted by itself, with another image."""
        self.carrier.restarted(node)
        if self._observer is not None:
            self._observer.rebooted(node.id)

    def move_joint(self, name: str, host: str, *, is_heard: bool = True) -> None:
        """A joint gets another address; what ran on its streams is gone.

        It announces the new one, which is heard or not.
        """
        node = self.node(name)
        node.host = host
        self.carrier.lost(node)
        if node.alive and is_heard:
            self.carrier.announce_joint(node)

    def faulty_link(self, name: str, laptop: int = 0) -> FaultyLink:
        """The link between a laptop and a joint, to make it worse."""
        return self.laptops[laptop].faulty_links[self.arm.joint(name).id]

    def cut(self, name: str, duration_us: int, directions: Sequence[Direction] = BOTH) -> None:
        """Nothing passes between the first laptop and a joint for a while."""
        self.faulty_link(name).cut(self.now, self.now + duration_us, directions)
        if duration_us > NO_ANSWER_US:
            self.at(self.now + NO_ANSWER_US, self.break_stream, name)

    def break_stream(self, name: str) -> None:
        """The first laptop gives a joint's stream up: no ping came through for too long."""
        self.carrier.cut_off(self.laptop, self.arm.joint(name).id)
