"""How hard the joints of a shift work, and joints that work hard but are well.

On a usual day of the bench no joint comes within 7 °C of its warning, and none within 3 V: such a
day says nothing of alarms of heat and supply. So on some days joints have a current that warms them
until their fan has to run, on one supply over hops of some ohms, and an owner who set their
warnings closely above and below what they reach when all is well (`worked`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np
from numpy.typing import NDArray

from coordinator.config.arm import Arm
from coordinator.rehearsal.software_joints import joint_settings
from protocol.constants import US
from simulator.joint.safety import FAN_ON_CENTI_C
from simulator.physics.heat import Thermal
from simulator.physics.motor import winding_watts
from simulator.physics.slip_ring import SlipRing
from simulator.physics.supply import chain_voltages
from simulator.settings import JointSettings

Ints = NDArray[np.int64]

MINUTE_US = 60 * US
AROUND_US = 3 * US // 2
"""So long after a move joints are asked more often still, with what comes before it."""


@dataclass(frozen=True, slots=True)
class Work:
    """A move each minute, for a while, then none for a while. Times since the shift began."""

    moves_us: int
    works_us: int = MINUTE_US
    """Whole minutes."""
    rests_us: int = 0

    def moves(self, since_us: Ints, longer_us: int = 0) -> NDArray[np.bool_]:
        """At which of these instants it moves, or did so a little earlier."""
        works = since_us % (self.works_us + self.rests_us) < self.works_us
        return works & (since_us % MINUTE_US < self.moves_us + longer_us)

    def changes(self, from_us: int, to_us: int) -> Iterator[tuple[int, bool]]:
        """From when on it moves, and no longer, in order of time."""
        for minute_us in range(from_us - from_us % MINUTE_US, to_us, MINUTE_US):
            if minute_us % (self.works_us + self.rests_us) >= self.works_us:
                continue
            for at_us, moves in ((minute_us, True), (minute_us + self.moves_us, False)):
                if from_us <= at_us < to_us:
                    yield at_us, moves


USUAL = Work(1 * US)
"""As the operator of a whole world plays."""
HARD = Work(20 * US, 120 * MINUTE_US, 60 * MINUTE_US)
HARD_RUN_A = 2.2
HARD_HOLD_A = 1.1
HARD_HOP_OHM = 0.3
NEAR_C = 0.5, 3.0
"""From the warmest that such a joint truly gets to its warning, and from there to its limit."""
LIMIT_C = 8.0
NEAR_V = 0.035, 0.3
"""From the lowest volts of motion, as its divider reads them, to its warning."""


def watts(settings: JointSettings) -> tuple[float, float]:
    """Of its windings, at rest and in motion."""
    return (
        winding_watts(settings.hold_current_a, settings.winding_ohm),
        winding_watts(settings.run_current_a, settings.winding_ohm),
    )


def chain_v(chain: Sequence[JointSettings]) -> list[tuple[float, float]]:
    """True volts at each joint of one chain, all at rest and all in motion, base to tool."""
    hop_ohm = [chain[0].source_ohm * (k == 0) + _ring_ohm(one) for k, one in enumerate(chain)]
    rest_v, moving_v = (
        chain_voltages(
            chain[0].source_v, hop_ohm, [one.idle_watts + watts(one)[moves] for one in chain]
        )
        for moves in (0, 1)
    )
    return list(zip(rest_v, moving_v, strict=True))


def _ring_ohm(settings: JointSettings) -> float:
    random = Random(f"ring {settings.seed}")
    ring = SlipRing(settings.hop_ohm, 0.0, settings.ring_scatter, random)
    ring.turn(random.random())
    return ring.ohm


def warmest_c(settings: JointSettings, work: Work, air_c: float) -> float:
    """That a joint gets by this work in such air, with its fan on: as it is after two hours."""
    thermal, (held, run) = Thermal(air_c, settings.heat), watts(settings)
    thermal.set_fan(0, True)
    reached_c = air_c
    for at_us, moves in work.changes(0, 120 * MINUTE_US):
        reached_c = max(reached_c, thermal.temperature(at_us))
        thermal.set_power(at_us, run if moves else held, settings.idle_watts)
    return reached_c


def worked(calm: Arm, seed: int, air_c: float) -> Arm:
    """This arm with joints that work hard, and with warnings close to what they reach by that in
    air that gets so warm. They are well: their fans run, and in truth none passes its warning.
    """
    current = tuple(
        replace(
            joint,
            run_current_a=HARD_RUN_A,
            hold_current_a=HARD_HOLD_A,
            hop_resistance_ohm=HARD_HOP_OHM,
        )
        for joint in calm.joints
    )
    arm, random = replace(calm, joints=current), Random(f"near {seed}")
    joints, settings = [], joint_settings(arm, seed)
    for joint, one, (_, moving_v) in zip(arm.joints, settings, chain_v(settings), strict=True):
        # Below where its fan comes on it gets that warm all the same.
        reached_c = max(warmest_c(one, HARD, air_c), FAN_ON_CENTI_C / 100.0)
        warning_c = reached_c + random.uniform(*NEAR_C)
        read_v = moving_v * (1.0 + one.supply_gain_error)
        joints.append(
            replace(
                joint,
                temperature_warning_c=warning_c,
                temperature_limit_c=warning_c + LIMIT_C,
                supply_warning_v=read_v - random.uniform(*NEAR_V),
            )
        )
    return replace(arm, joints=tuple(joints))
