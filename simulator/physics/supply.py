"""The supply's way through the arm: from joint to joint, a slip ring or a wire at each hop.

A joint's converters draw constant power: the lower the voltage, the more current. Beyond some
load no voltage satisfies all of them, and the supply collapses.
"""

from collections.abc import Sequence
from typing import Final

# Close to collapse each round halves the error, so 24 V needs 35 rounds to a nanovolt.
_MAX_ROUNDS: Final = 100
_SETTLED_V: Final = 1e-9


class SupplyCollapse(Exception):
    """The joints ask for more power than their supply can bring."""


def chain_voltages(
    source_v: float, hop_ohm: Sequence[float], watts: Sequence[float]
) -> list[float]:
    """Find the voltage at each joint, base to tool, in V.

    `hop_ohm[i]` is the resistance, there and back, of the hop to joint i from the joint before it
    (from the source for the first), and `watts[i]` the power that joint i draws, 0 or more. Raises
    `SupplyCollapse` if there is no solution, and `ValueError` if the lists differ in length.

    Newton's method from the source voltage on every joint. The current of a load is convex in its
    voltage, so the rounds come down on the highest solution without passing it, and if there is
    none they run into a point at which the linearised chain no longer holds its voltage up.
    """
    if len(hop_ohm) != len(watts):
        raise ValueError(f"A chain of {len(hop_ohm)} hops cannot feed {len(watts)} joints.")
    voltages = [source_v] * len(watts)
    for _ in range(_MAX_ROUNDS):
        nearer = _linearised(source_v, hop_ohm, watts, voltages)
        if nearer is None:
            break
        moved_v = max((abs(a - b) for a, b in zip(voltages, nearer, strict=True)), default=0.0)
        voltages = nearer
        if moved_v < _SETTLED_V:
            return voltages
    raise SupplyCollapse(
        f"A supply of {source_v:g} V collapses: over {sum(hop_ohm):g} Ω in {len(hop_ohm)} hops it "
        f"cannot bring {sum(watts):g} W to {len(watts)} joints."
    )


def _linearised(
    source_v: float, hop_ohm: Sequence[float], watts: Sequence[float], guess: list[float]
) -> list[float] | None:
    """Solve the chain with each load replaced by its tangent; `None` if nothing holds it up."""
    # From the tool to the base: what a hop and all after it draw, as current + conductance·voltage.
    current, conductance = 0.0, 0.0
    drawn: list[tuple[float, float]] = []
    for ohm, power, volts in zip(reversed(hop_ohm), reversed(watts), reversed(guess), strict=True):
        current += 2.0 * power / volts
        conductance -= power / (volts * volts)
        held = 1.0 + ohm * conductance
        if held <= 0.0:
            return None
        current /= held
        conductance /= held
        drawn.append((current, conductance))
    # And back, with the voltage known before each hop.
    voltages: list[float] = []
    before_v = source_v
    for ohm, (current, conductance) in zip(hop_ohm, reversed(drawn), strict=True):
        before_v -= ohm * (current + conductance * before_v)
        if before_v <= 0.0:
            return None
        voltages.append(before_v)
    return voltages
