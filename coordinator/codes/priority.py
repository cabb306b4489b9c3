"""How soon somebody must act on an alarm."""

from enum import StrEnum


class Priority(StrEnum):
    """By what comes of it if nobody acts, and how soon (as ISA-18.2 has it, from memory)."""

    HIGH = "high"
    """At once: the arm stops, hangs limp, is not heard, or goes elsewhere than expected."""
    MEDIUM = "medium"
    """Within minutes: the arm will stop if it goes on so, or nothing starts."""
    LOW = "low"
    """Before the shift is over: starts wait longer, or the arm holds more often."""
    JOURNAL = "journal"
    """No alarm, as nobody need act: a line of the journal."""
