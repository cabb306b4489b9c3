"""What alarms come from, by which they are grouped where there are many."""

from enum import StrEnum


class AlarmOrigin(StrEnum):
    """Where somebody would look first."""

    SUPPLY = "supply"
    HEAT = "heat"
    CONNECTION = "connection"
    """The network, or a joint that does not answer on it."""
    CLOCK = "clock"
    HOME = "home"
