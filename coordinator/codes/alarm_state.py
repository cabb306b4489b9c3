"""Where an alarm is between what is wrong and whoever is to act."""

from enum import StrEnum


class AlarmState(StrEnum):
    """The states of ISA-18.2 that this project has (names from memory).

    Two of the standard's have no use here and are left out: no program suppresses an alarm, and
    none is out of service.
    """

    NORMAL = "normal"
    """Nothing is wrong, and nothing is left to be seen."""
    UNACKNOWLEDGED = "unacknowledged"
    """It is so, and nobody has said that it was seen."""
    ACKNOWLEDGED = "acknowledged"
    """It is so still, and somebody has said that it was seen."""
    RETURNED = "returned"
    """It is over, and nobody has said that it was seen."""
    SHELVED = "shelved"
    """Somebody has put its sign aside for a time; whether it is so is told all the same."""
