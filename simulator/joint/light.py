"""The joint's light: the arm's condition as it was told, or what the joint knows better."""

from protocol.constants import US
from protocol.light import BLINK, PATTERNS, ConditionWord, is_lit, shown
from protocol.states import JointState


class Lamp:
    """What the light was told to show."""

    def __init__(self) -> None:
        self._told = ConditionWord.NOT_KNOWN
        self._blink_until_us = 0.0

    def tell(self, condition: ConditionWord) -> None:
        """The arm's condition is this now."""
        self._told = condition

    def blink(self, seconds: int, now: float) -> None:
        """Show for some seconds which joint this is."""
        self._blink_until_us = now + seconds * US

    def forget(self) -> None:
        """A new session: whatever an older one told is no more."""
        self._told = ConditionWord.NOT_KNOWN

    def word(self, state: JointState, *, at_rest: bool, silent_us: float) -> ConditionWord:
        """The word that it shows while it does not blink."""
        return shown(self._told, state, at_rest=at_rest, silent_us=silent_us)

    def is_lit(self, word: ConditionWord, now: float) -> bool:
        """Whether it is on, showing this word."""
        return is_lit(BLINK if now < self._blink_until_us else PATTERNS[word], now)
