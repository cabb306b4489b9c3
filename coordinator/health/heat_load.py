"""The load of a joint's motor, and what counts as its present one."""

from typing import Final

from coordinator.config.joint import Joint
from coordinator.health.draw import current_a
from protocol.status import Status

CONSTANT_S: Final = 40.0
"""A load that is the same for so long is the present one; a program changes it more often."""
WINDOW_S: Final = 120.0
"""Over which the mean of a load that comes and goes is taken."""
VARIANCE: Final = 0.25**2
"""Of the load about its mean while a program turns and holds, in stretches of some `STRETCH_S`."""
STRETCH_S: Final = 15.0


def load_of(joint: Joint, idle_share: float, status: Status) -> float:
    """Heat of the winding as a share of that at run current, by what a status says.

    It goes by the square of the current.
    """
    share = current_a(joint, idle_share, status) / joint.run_current_a
    return share * share


class PresentLoad:
    """A mean that begins anew where a load that was constant changes."""

    def __init__(self) -> None:
        self.mean = 0.0
        self._level: float | None = None
        self._since_s = 0.0
        self._now_s = 0.0
        self._counted_s = 0.0

    def take(self, at_s: float, load: float) -> None:
        """A status says so."""
        passed_s, self._now_s = at_s - self._now_s, at_s
        if load != self._level:
            if self._level is None or self.is_constant:
                self._counted_s, self.mean = 0.0, load
            self._level, self._since_s = load, at_s
        weight_s = min(max(passed_s, 0.1), WINDOW_S)
        self._counted_s = min(self._counted_s + weight_s, WINDOW_S)
        self.mean += (load - self.mean) * weight_s / self._counted_s
        if self.is_constant:
            self.mean = load

    @property
    def is_constant(self) -> bool:
        """Whether it has been the same for long."""
        return self._now_s - self._since_s >= CONSTANT_S

    @property
    def variance(self) -> float:
        """Of the mean, as an estimate of the one to come."""
        if self.is_constant:
            return 0.0
        return VARIANCE * STRETCH_S / min(self._counted_s + STRETCH_S, WINDOW_S)
