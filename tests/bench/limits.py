"""Between which shares or rates what was counted leaves the true one: exact limits at 95 %.

For shares those of Clopper and Pearson (1934), for rates those of Garwood (1936). Were the truth
beyond either limit, what was counted, or more than that, would be seen in fewer than one of forty
such benches. They hold for trials that do not depend on each other; starts of one world meet the
same bursts of loss, so the truth is somewhat less sure than they say.
"""

from dataclasses import dataclass

from scipy.stats import beta, chi2

SURE = 0.95
TAIL = (1.0 - SURE) / 2.0


@dataclass(frozen=True, slots=True)
class Limits:
    """The lowest and highest true figure that the counts leave."""

    low: float
    high: float

    def text(self, unit: str = "") -> str:
        """As it stands in a table."""
        return f"{self.low:.3g} to {self.high:.3g}{unit}"


def share_limits(found: int, of: int) -> Limits:
    """Of a share, in per cent; from 0 to 100 without any trial."""
    low = beta.ppf(TAIL, found, of - found + 1) if found else 0.0
    high = beta.ppf(1.0 - TAIL, found + 1, of - found) if found < of else 1.0
    return Limits(100.0 * float(low), 100.0 * float(high))


def rate_limits(found: int, units: float) -> Limits:
    """Of how often something happens in a unit of time, seen in so many; infinite without any."""
    if not units > 0.0:
        return Limits(0.0, float("inf"))
    low = chi2.ppf(TAIL, 2 * found) / 2.0 if found else 0.0
    return Limits(float(low) / units, float(chi2.ppf(1.0 - TAIL, 2 * found + 2)) / 2.0 / units)
