"""What can befall the joints of a virtual arm."""

from typing import Final

from coordinator.rehearsal.world import World
from coordinator.testing.recorder import Recorder
from protocol.constants import US

WARMING_C_PER_S: Final = 4.0
"""A sensor that jumps faster than 5 °C/s is not believed (coordinator/health/plausible.py)."""
WARMING_STEP_US: Final = 100_000


class Faults:
    """Lets things befall a world's joints now."""

    def __init__(self, world: World, recorder: Recorder) -> None:
        self._world = world
        self._recorder = recorder
        self._warming: dict[str, int] = {}
        """How often a joint was told to warm: the newest time counts."""

    def lose(self, joint: str, for_us: int) -> None:
        """Nothing passes between coordinator and joint for a while."""
        self._world.cut(joint, for_us)

    def reboot(self, joint: str, off_us: int) -> None:
        """A joint loses its power for a while."""
        node = self._world.node(joint)
        self._recorder.look_at(self._world, node)
        self._world.kill_joint(joint)
        self._recorder.look_at(self._world, node)
        self._world.at(self._world.now + off_us, self._world.restart_joint, joint)

    def heat(self, joint: str, to_c: float) -> None:
        """From now on something outside brings a joint to a temperature, and keeps it there."""
        self._warming[joint] = number = self._warming.get(joint, 0) + 1
        self._warm(joint, to_c, number)

    def _warm(self, joint: str, to_c: float, number: int) -> None:
        if self._warming[joint] != number:
            return
        world = self._world
        unit = world.node(joint).unit
        now_c = unit.temperature_c(world.now)
        step_c = WARMING_C_PER_S * WARMING_STEP_US / US
        unit.warmer_c += min(max(to_c - now_c, -step_c), step_c)
        world.at(world.now + WARMING_STEP_US, self._warm, joint, to_c, number)
