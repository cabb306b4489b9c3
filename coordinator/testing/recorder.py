"""What the joints of a virtual arm truly do, written down as it happens."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import World
from protocol.constants import US
from protocol.drive import Drive
from protocol.status import Status
from simulator.network import Direction
from simulator.unit import JointUnit, WorldTruth

SAMPLE_US: Final = 20_000
"""Between two looks at every joint. A cubic between two of them with their speeds differs from a
course with a jerk of 600 °/s³ by less than 600 × 0.02³ = 0.005°."""

AT_REST: Final = ("start", "resume", "hold", "finish")
"""What happens in an instant in which a joint stands."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Where a joint truly was, in counts, and how fast, in counts/s, at a true time."""

    at_us: float
    position: float
    velocity: float


class Recorder:
    """Watches a world, and changes nothing. `on_start` is called when a joint begins to move on
    its path, with the true time in µs at which it did.
    """

    def __init__(self, units: Sequence[JointUnit], on_start: Callable[[float], None]) -> None:
        self.samples: dict[str, list[Sample]] = {unit.settings.name: [] for unit in units}
        """Oldest first, by joint."""
        self.events: list[tuple[str, WorldTruth]] = []
        """What joints did, with their names, as it came to be known."""
        self._units = {unit.settings.id: unit for unit in units}
        self._on_start = on_start

    def begin(self, world: World) -> None:
        """Look at all joints from now on."""
        self.look(world)
        world.at(world.now + SAMPLE_US, self.begin, world)

    def look(self, world: World) -> None:
        """Look at all joints now."""
        for node in world.nodes.values():
            self.look_at(world, node)

    def look_at(self, world: World, node: Node) -> None:
        """Look at one joint now; one without power stands where it was."""
        samples = self.samples[node.name]
        if not node.alive:
            samples.append(Sample(world.now, samples[-1].position, 0.0))
            return
        world.poll(node)
        samples.append(Sample(world.now, *node.unit.true_position(world.now)))

    def at(self, joint: str, true_us: float) -> tuple[float, float]:
        """Where a joint was, in counts, and how fast, in counts/s; between two looks by a cubic."""
        samples = self.samples[joint]
        k = min(bisect_right(samples, true_us, key=lambda one: one.at_us), len(samples) - 1)
        one, two = samples[max(k - 1, 0)], samples[k]
        span_us = two.at_us - one.at_us
        if span_us == 0:
            return two.position, two.velocity
        s, h = (true_us - one.at_us) / span_us, span_us / US
        way = two.position - one.position
        rise, fall = one.velocity * h - way, two.velocity * h - way
        position = one.position + s * way + s * (1 - s) * (rise * (1 - s) - fall * s)
        velocity = way + rise * (1 - s) * (1 - 3 * s) - fall * s * (2 - 3 * s)
        return position, velocity / h

    # ---- what a world tells whoever watches it --------------------------------------------------

    def touched(self, joint_id: str) -> None:
        """Something happened in a joint: write down what it did."""
        unit = self._units[joint_id]
        for truth in unit.take_truth():
            name, at_us = unit.settings.name, truth.at_ns / 1_000
            self.events.append((name, truth))
            if truth.event in AT_REST:
                self.samples[name].append(Sample(at_us, truth.position, 0.0))
            if truth.event == "start":
                self._on_start(at_us)

    def sent(self, laptop: int, joint_id: str, drive: Drive) -> None:
        """Pass over."""

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        """Pass over."""

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        """Pass over."""

    def forged(self, joint_id: str, what: str, *, taken: bool) -> None:
        """Pass over."""

    def heard(self, laptop: int, joint_id: str) -> None:
        """Pass over."""

    def commanded(self, laptop: int, command: ev.Command) -> None:
        """Pass over."""

    def crashed(self, laptop: int) -> None:
        """Pass over."""

    def slept(self, laptop: int, slept_us: int) -> None:
        """Pass over."""

    def rebooted(self, joint_id: str) -> None:
        """Pass over."""
