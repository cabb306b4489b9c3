"""What befalls an arm in a shift, and which alarms are right about it.

Each is something that a bench arm of prints, slip rings and Wi-Fi may well have; how often and how
long is drawn, and no claim.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from coordinator.rehearsal.world import World
from protocol.constants import US
from simulator.physics.heat import OPEN_CODE
from tests.bench.alarm_says import warmer_c

FLAKY_S = 10, 2
"""Of each so many seconds so many are lost."""
LOW_V = 19.0
"""Where the warning is 20 V and the limit 18 V."""
WILD_S = 2
"""From one jump of a clock to the next."""

Happen = Callable[[World, str, int], list[int] | None]
"""Does it to a joint of a world, for so many µs. Where its value passes its limit later than it
begins, gives a list that will have that instant once it does."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault."""

    name: str
    happen: Happen
    for_s: int
    codes: frozenset[str]
    """Alarms of that joint that are right while it lasts, and a little longer."""
    is_told: bool = True
    """Whether one of these must come."""


def _silent(world: World, joint: str, for_us: int) -> None:
    world.cut(joint, for_us)


def _flaky(world: World, joint: str, for_us: int) -> None:
    every_s, lost_s = FLAKY_S
    for at_us in range(0, for_us, every_s * US):
        world.at(world.now + at_us, world.cut, joint, lost_s * US)


def _sags(world: World, joint: str, for_us: int) -> None:
    unit = world.node(joint).unit
    before = unit.supply_v
    unit.supply_v = LOW_V

    def over() -> None:
        unit.supply_v = before

    world.at(world.now + for_us, over)


def _unfed(world: World, joint: str, for_us: int) -> None:
    unit = world.node(joint).unit
    unit.supply_cut = True

    def over() -> None:
        unit.supply_cut = False

    world.at(world.now + for_us, over)


def _restarts(world: World, joint: str, for_us: int) -> None:
    world.kill_joint(joint)
    world.at(world.now + for_us, world.restart_joint, joint)


def _sensor_off(world: World, joint: str, for_us: int) -> None:
    """Its plug comes loose."""
    unit = world.node(joint).unit
    unit.sensor_code = OPEN_CODE

    def over() -> None:
        unit.sensor_code = None

    world.at(world.now + for_us, over)


def warm_c(_seconds: float) -> float:
    """By how much it is above its warning, in °C."""
    return 3.0


def hover_c(seconds: float) -> float:
    """It goes to and fro about its warning by 1.5 °C, every two minutes; noise comes to that."""
    return 1.5 * math.sin(2 * math.pi * seconds / 120)


def _warms(world: World, joint: str, for_us: int) -> list[int]:
    return _held_at(world, joint, for_us, warm_c)


def _hovers(world: World, joint: str, for_us: int) -> list[int]:
    return _held_at(world, joint, for_us, hover_c)


def _held_at(world: World, joint: str, for_us: int, above_c: Callable[[float], float]) -> list[int]:
    """A temperature beside its warning."""
    unit, begun_us = world.node(joint).unit, world.now
    warning_c, passed = world.arm.joint(joint).temperature_warning_c, list[int]()

    def step() -> None:
        passed_us = world.now - begun_us
        on = passed_us < for_us
        wanted_c = warning_c + above_c(passed_us / US) if on else 0.0
        now_c = unit.temperature_c(world.now)
        unit.warmer_c = warmer_c(unit.warmer_c, now_c, wanted_c, warning_c)
        if not passed and unit.temperature_c(world.now) > warning_c:
            passed.append(world.now)
        if on or unit.warmer_c > 0.0:
            world.at(world.now + US, step)

    step()
    return passed


def _jumps(world: World, joint: str, _for_us: int) -> None:
    """Its clock, by half a second, once."""
    world.node(joint).unit.step_clock(world.now, 5e5)


def _wild(world: World, joint: str, for_us: int) -> None:
    for at_us in range(0, for_us, WILD_S * US):
        world.at(world.now + at_us, _jumps, world, joint, 0)


OFFLINE = frozenset({"joint-offline"})
LINK = frozenset({"link-poor", "link-lossy", "link-lopsided"})
FAULTS = (
    Fault("silent for 20 s", _silent, 20, OFFLINE | LINK),
    Fault("silent for 1.5 s", _silent, 2, LINK, is_told=False),
    Fault("2 s of 10 lost", _flaky, 240, LINK | OFFLINE),
    Fault("supply sags to 19 V", _sags, 180, frozenset({"supply-low", "supply-short"})),
    Fault("no motor supply", _unfed, 60, frozenset({"motor-supply-lost"})),
    Fault("restarts in 10 s", _restarts, 10, OFFLINE | LINK),
    Fault("sensor unplugged", _sensor_off, 120, frozenset({"temperature-implausible"})),
    Fault("warm", _warms, 1200, frozenset({"joint-warm", "fan-still"})),
    Fault("hovers about its warning", _hovers, 1800, frozenset({"joint-warm"})),
    Fault("clock jumps once", _jumps, 1, frozenset(), is_told=False),
    Fault("clock jumps all the time", _wild, 180, frozenset({"clock-unlocked"}) | LINK),
)
