"""How near to an alarm quiet time came: without that, that none was told says little."""

from dataclasses import dataclass
from math import inf

from coordinator.config.joint import Joint
from protocol.constants import US
from tests.bench.alarm_could import longest_loss_us
from tests.bench.alarm_says import LOST, Said


@dataclass(slots=True)
class Nearest:
    """The nearest of all readings and runs of losses."""

    below_warning_c: float = inf
    """Of the warmest reading, below its joint's warning; less than 0 is above it."""
    above_warning_v: float = inf
    """Of the lowest volts, above its joint's warning."""
    longest_loss_s: float = 0.0
    """Of exchanges in a row."""

    def take(self, joint: Joint, said: Said) -> None:
        """What a joint said."""
        self.add(
            Nearest(
                joint.temperature_warning_c - float(said.centi_c.max()) / 100.0,
                float(said.supply_mv.min()) / 1_000.0 - joint.supply_warning_v,
                longest_loss_us(said.sent_us, said.answered_us == LOST) / US,
            )
        )

    def add(self, other: "Nearest") -> None:
        """The nearer of both."""
        self.below_warning_c = min(self.below_warning_c, other.below_warning_c)
        self.above_warning_v = min(self.above_warning_v, other.above_warning_v)
        self.longest_loss_s = max(self.longest_loss_s, other.longest_loss_s)
