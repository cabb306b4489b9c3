"""How sure a share is that was counted."""

from math import sqrt
from typing import Final

Z_95: Final = 1.959963984540054
"""The normal distribution's quantile for 97.5 %: two sides of 95 %."""


def wilson(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of the share behind `count` of so many (Wilson 1927, JASA 22, 209).

    It takes one exchange to say nothing of the next: losses come in rows, so the true interval is
    wider where they do. Raises ValueError for a share of nothing.
    """
    if of < 1:
        raise ValueError(f"{count} of {of} is no share")
    share, z2 = count / of, Z_95 * Z_95
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = Z_95 * sqrt(share * (1 - share) / of + z2 / (4 * of * of)) / (1 + z2 / of)
    # Rounding must not keep none, or all, out of the interval.
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == of else min(1.0, middle + half)
    return low, high
