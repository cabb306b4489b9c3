"""The project's own goals for 6 joints by network, and by how much figures miss them."""

import math
import operator
from dataclasses import dataclass

from tests.bench.limits import Limits


@dataclass(frozen=True, slots=True)
class Goal:
    """What a figure shall not be above, or, of shares, not below."""

    what: str
    unit: str
    by_network: dict[str, float]
    is_least: bool = False

    def text(self, network: str) -> str:
        """The goal in a table."""
        return f"{'≥' if self.is_least else '≤'} {self.by_network[network]:g}{self.unit}"

    def missed(self, network: str, figure: float, where: str = "") -> list[str]:
        """A sentence if the figure is on the wrong side of the goal; none if there is no figure."""
        goal = self.by_network[network]
        beyond = operator.lt if self.is_least else operator.gt
        if not beyond(figure, goal):
            return []
        by = f"{abs(figure - goal):.3g}{self.unit}"
        said = f"{self.what} {figure:.4g}{self.unit}, goal {self.text(network)}, missed by {by}."
        return [f"Goal missed on {network}{where}: {said}"]

    def verdict(self, network: str, figure: float, limits: Limits) -> str:
        """Whether the figure meets the goal, and whether all that its limits leave does too."""
        if math.isnan(figure):
            return "–"
        goal = self.by_network[network]
        beyond = operator.lt if self.is_least else operator.gt
        near, far = (limits.high, limits.low) if self.is_least else (limits.low, limits.high)
        if beyond(figure, goal):
            return "missed" if beyond(near, goal) else "missed, not proved"
        return "met, not proved" if beyond(far, goal) else "met"


START_SKEW_P99 = Goal(
    "start skew p99", " µs", {"quiet": 60, "home": 110, "busy": 280, "hostile": 750}
)
FIRST_ATTEMPT = Goal(
    "starts at the first attempt",
    " %",
    {"quiet": 99.9, "home": 99.9, "busy": 99.8, "hostile": 99.5},
    is_least=True,
)
FALSE_HOLDS = Goal(
    "false holds", " a minute", {"quiet": 0.04, "home": 0.04, "busy": 0.1, "hostile": 1}
)
SAME_PATH_TIME = Goal(
    "same path time after an outage",
    " %",
    {"quiet": 95, "home": 95, "busy": 75, "hostile": 30},
    is_least=True,
)
HAND_SPARE_US = 50_000
"""What a hand's press may take to motion beyond the link's round trip."""
HAND_LAG = Goal(
    "presses that move the joint within 50 ms and the round trip",
    " %",
    {"quiet": 95},
    is_least=True,
)
INP_US = 100_000
"""Interaction to next paint, p98, on every view of the page."""
