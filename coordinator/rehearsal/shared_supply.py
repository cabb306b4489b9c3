"""Software joints that feel each other's draw on their supply, and how low that falls."""

from collections.abc import Sequence
from typing import Final

from coordinator.rehearsal.schedule import Schedule
from simulator.unit import JointUnit, share_supply

LOOK_US: Final = 100_000
"""What joints draw changes as they start and stop, which takes longer."""
ANEW_US: Final = 1_000_000
"""Resistances change as slip rings turn."""


class SharedSupply:
    """Feeds joints, base to tool, one from the other from now on."""

    def __init__(self, schedule: Schedule, units: Sequence[JointUnit]) -> None:
        self._schedule = schedule
        self._units = tuple(units)
        self._watts: list[float] = []
        self._anew_us = 0
        self.lowest_v: dict[str, float] = {}
        """True volts by joint, since they were cleared."""
        self._look()

    def _look(self) -> None:
        now = self._schedule.now
        watts = [unit.watts for unit in self._units]
        if watts != self._watts or now >= self._anew_us:
            share_supply(self._units)
            self._watts, self._anew_us = watts, now + ANEW_US
        for unit in self._units:
            volts, name = unit.supply_v, unit.settings.name
            if volts is not None and volts < self.lowest_v.get(name, volts + 1.0):
                self.lowest_v[name] = volts
        self._schedule.at(now + LOOK_US, self._look)
