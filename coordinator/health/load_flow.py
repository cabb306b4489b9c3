"""Volts at every joint along the chain, from what each draws: a load flow with constant power.

A joint's converters draw the more current the lower their voltage, so the volts are the solution of
equations that are not linear. They have none where the joints ask for more than the supply can
bring over its hops: it collapses then, whatever its own voltage.

Backward and forward sweeps, as is usual for feeders that do not branch (Shirmohammadi and others,
IEEE Transactions on Power Systems 1988, from memory): from the tool to the base add up the
currents, from the base to the tool subtract what they drop. Less current never lowers a voltage, so
sweeps that begin at the source's voltage come down on the highest solution and never pass it.
"""

from collections.abc import Sequence
from typing import Final

MAX_SWEEPS: Final = 20_000
"""Near collapse each sweep gains little: this many tell it to a millionth of the power."""
SETTLED_V: Final = 1e-11


def load_flow(
    source_v: float, hop_ohm: Sequence[float], watts: Sequence[float]
) -> tuple[float, ...] | None:
    """The volts at each joint, base to tool; None where the supply collapses.

    `hop_ohm[k]` is the resistance, there and back, of the hop to joint k from the joint before it,
    from the source for the first; `watts[k]` is what joint k draws, 0 or more. Raises ValueError
    unless there are as many of both.
    """
    if len(hop_ohm) != len(watts):
        raise ValueError(f"A chain of {len(hop_ohm)} hops cannot feed {len(watts)} joints.")
    volts = [source_v] * len(watts)
    for _ in range(MAX_SWEEPS):
        through = currents(volts, watts)
        before_v, moved_v = source_v, 0.0
        for k, ohm in enumerate(hop_ohm):
            before_v -= ohm * through[k]
            if before_v <= 0.0:
                return None
            moved_v = max(moved_v, volts[k] - before_v)
            volts[k] = before_v
        if moved_v < SETTLED_V:
            return tuple(volts)
    return None


def currents(volts: Sequence[float], watts: Sequence[float]) -> list[float]:
    """The current in A through the hop to each joint: its own and that of all behind it."""
    through = [0.0] * len(watts)
    behind_a = 0.0
    for k in range(len(watts) - 1, -1, -1):
        behind_a += watts[k] / volts[k]
        through[k] = behind_a
    return through
