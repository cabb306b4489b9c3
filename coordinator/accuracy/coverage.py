"""How many standard uncertainties hold 95 of 100 values, where they come from few readings."""

from typing import Final

COVERAGE: Final = 2.0
"""Standard uncertainties that hold about 95 of 100 values where they come from many readings, and
less where from few (GUM, JCGM 100:2008, 6.3.3, from memory)."""
_BY_FREEDOM: Final = (
    12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23,
    2.20, 2.18, 2.16, 2.14, 2.13, 2.12, 2.11, 2.10, 2.09, 2.09,
)  # fmt: skip
"""Student's t for 95 % between its ends, for 1, 2, … degrees of freedom (GUM, JCGM 100:2008, table
G.2, from memory; the tests have them from scipy). The expansion of `health.hop_estimate` takes any
number of them, and is off by 3 % and more below three."""


def coverage(freedom: int) -> float:
    """The factor for so many degrees of freedom, 1 or more; with many it is about 2."""
    return _BY_FREEDOM[min(freedom, len(_BY_FREEDOM)) - 1]
