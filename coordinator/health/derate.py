"""How much rest keeps a joint below its limit.

A stepper has the same current at any speed, so playing slower does not cool it: only rest does, in
which it has its hold current. Rests and moves that take turns of much less than the time constant
act by their mean.
"""

from collections.abc import Callable
from typing import Final

STEPS: Final = 20
"""In which the share is looked for: 5 % each."""


def rest_share(
    highest_c: Callable[[float], float], load: float, rest_load: float, limit_c: float
) -> float | None:
    """The least share of rest, 0 to 1, at which it settles below its limit; None if none does.

    `highest_c` gives the temperature at which it settles at most by a mean load; loads are shares
    of the winding's heat at run current.
    """
    for step in range(STEPS + 1):
        share = step / STEPS
        if highest_c((1.0 - share) * load + share * rest_load) < limit_c:
            return share
    return None
