"""What is known of a joint's temperature sensor. Only one that is sound gives a temperature."""

from enum import StrEnum


class SensorState(StrEnum):
    """A closed list: anything but `sound` is no temperature."""

    SOUND = "sound"
    OPEN = "open"
    """It reads below what it can measure: nothing is connected, or it is shorted to ground."""
    SHORTED = "shorted"
    """It reads above what it can measure: shorted to its supply."""
    FROZEN = "frozen"
    """It stays exactly the same though the load changed, which any motor's temperature shows."""
    IMPLAUSIBLE = "implausible"
    """It jumped as no joint can warm or cool, or was broken a moment ago."""
    MISSING = "missing"
    """The joint itself misses a reading."""
