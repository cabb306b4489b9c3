"""What can hold a loop of a program up."""

from enum import StrEnum
from typing import Final


class DelayKind(StrEnum):
    """What can hold a loop up."""

    HELD = "held"
    PAUSED = "paused"
    WAITED = "waited"
    """For an input."""
    STARTING = "starting"
    """Where the arm rested between two parts: points, answers and the start's delay."""
    START_REPEATED = "start-repeated"
    """Not every joint confirmed a start in time, so it was set anew."""
    SPEED = "speed"
    """The feed override was below 100 %."""
    EDGES_CHECKED = "edges-checked"
    """Home edges, before the loop began."""


DELAY_WORDS: Final[dict[str, str]] = {
    DelayKind.HELD: "held",
    DelayKind.PAUSED: "paused",
    DelayKind.WAITED: "waited for",
    DelayKind.STARTING: "starting",
    DelayKind.START_REPEATED: "start repeated",
    DelayKind.SPEED: "speed below 100 %",
    DelayKind.EDGES_CHECKED: "home edges checked",
}
"""For people, before how long it was."""
