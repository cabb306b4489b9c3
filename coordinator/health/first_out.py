"""Which of the alarms that came together was the first: where to look first.

Kinds wait for different times before they begin, so what began first says little. What counts is
since when each had been bad. Those within one look of the first cannot be told apart from it, as
joints are looked at one after another: all of these are marked. That alarms came together does not
say that one caused the other.
"""

from collections.abc import Container
from dataclasses import dataclass, field
from typing import Final

TOGETHER_US: Final = 10_000_000
"""What comes of a cause follows within seconds: a supply that falls, joints that go silent."""
APART_US: Final = 1_000_000
"""As far apart as two looks at one joint are at most."""
OPEN_US: Final = 120_000_000
"""For so long another may belong to them: the longest delay before an alarm is half of it."""


@dataclass(slots=True)
class Episode:
    """Alarms that came together. `bad_since_us` by their numbers."""

    number: int
    """The number of the one that began first."""
    begun_us: int
    """When the last one began."""
    bad_since_us: dict[int, int] = field(default_factory=dict)

    def takes(self, bad_since_us: int) -> bool:
        """Whether one that has been bad since then came together with any of these."""
        return any(abs(bad_since_us - one) <= TOGETHER_US for one in self.bad_since_us.values())

    def is_first(self, number: int) -> bool:
        """Whether one of several was the first, or cannot be told apart from it."""
        since_us = self.bad_since_us
        return len(since_us) > 1 and since_us[number] - min(since_us.values()) <= APART_US


class Episodes:
    """All alarms of one arm that came together with others."""

    def __init__(self) -> None:
        self._episodes: list[Episode] = []

    def began(self, number: int, bad_since_us: int, now: int) -> None:
        """An alarm began, after it had been bad since then."""
        recent = (one for one in self._episodes if now - one.begun_us <= OPEN_US)
        episode = next((one for one in recent if one.takes(bad_since_us)), None)
        if episode is None:
            episode = Episode(number, now)
            self._episodes.append(episode)
        episode.bad_since_us[number] = bad_since_us
        episode.begun_us = now

    def forget(self, shown: Container[int], now: int) -> None:
        """Forget those of which nothing is shown any more, and to which none can come."""
        self._episodes = [
            one
            for one in self._episodes
            if now - one.begun_us <= OPEN_US or any(number in shown for number in one.bad_since_us)
        ]

    def of(self, number: int) -> Episode:
        """The episode of an alarm that is shown."""
        return next(one for one in self._episodes if number in one.bad_since_us)
