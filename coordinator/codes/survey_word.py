"""What a survey of a joint's link comes to, in words."""

from enum import StrEnum
from typing import Self


class SurveyPhase(StrEnum):
    """Stable, for programs; `says` is what is so then, a sentence."""

    says: str

    def __new__(cls, code: str, says: str) -> Self:
        """A word and its sentence."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.says = says
        return member

    NONE = "none", "None was asked for since the coordinator began."
    MEASURING = "measuring", "Exchanges are being counted and timed."
    DONE = "done", "All of it was measured."
    CANCELLED = "cancelled", "It was cancelled; nothing is told of it."
    BROKEN_OFF = "broken-off", "The arm was to move, or its session ended; nothing is told of it."

    @property
    def is_over(self) -> bool:
        """Whether nothing more is measured."""
        return self is not SurveyPhase.MEASURING


class LinkVerdict(StrEnum):
    """Of one joint's link, in a word or two."""

    GOOD = "good"
    """Nothing needs to be done."""
    USABLE = "usable"
    """The arm starts and plays; something can be done for it."""
    POOR = "poor"
    """Starts are likely to be refused, or the arm to hold."""
    NOT_KNOWN = "not known"
    """Too few exchanges."""


class MulticastWord(StrEnum):
    """What becomes of multicasts to one joint, by which it is found."""

    USUAL = "as all else"
    """Delivered as the joint's other messages are."""
    LATE = "kept back"
    """Delivered late, as access points do while a station sleeps; nothing needs to be done."""
    MORE_LOST = "more lost"
    """More were lost than of the joint's other messages; not surely so many that it matters."""
    LOSSY = "lossy"
    """So many are lost that it takes longer to find the joint."""
    NONE = "none"
    """No question by multicast was answered."""
    NOT_KNOWN = "not known"


class LinkFault(StrEnum):
    """What is wrong with a link; stable, for programs."""

    POWER_SAVE = "power-save"
    LOSS = "loss"
    LONG = "long-delays"
    CROWDED = "crowded"
    LOPSIDED = "lopsided"
    START = "start-refused"
    CLOCK = "clock-unknown"
    MULTICAST = "multicast"
