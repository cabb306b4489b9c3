"""Many alarms at once: more than somebody can look at one by one.

What a flood is comes from ISA-18.2 (from memory): 10 alarms or more within 10 minutes begin one,
fewer than 5 within 10 minutes end it. EEMUA 191 (from memory) takes one alarm in 10 minutes for
what an operator can bear on average.
"""

from collections import Counter, deque
from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin

WITHIN_US: Final = 600_000_000
BEGINS_AT: Final = 10
ENDS_BELOW: Final = 5


class FloodWatch:
    """Counts what began within the last ten minutes. Shelved ones give no sign, nor count."""

    def __init__(self) -> None:
        self.since_us: int | None = None
        """Since when there is a flood; None where there is none."""
        self._begun: deque[tuple[int, AlarmOrigin]] = deque()

    def began(self, origin: AlarmOrigin, now: int) -> None:
        """An alarm began, or came back from its shelf."""
        self._begun.append((now, origin))

    def step(self, now: int) -> bool:
        """Take note of the time; whether a flood begins or ends with it."""
        while self._begun and now - self._begun[0][0] > WITHIN_US:
            self._begun.popleft()
        if self.since_us is None and len(self._begun) >= BEGINS_AT:
            self.since_us = now
            return True
        if self.since_us is not None and len(self._begun) < ENDS_BELOW:
            self.since_us = None
            return True
        return False

    @property
    def count(self) -> int:
        """How many began within the last ten minutes, as of the last step."""
        return len(self._begun)

    @property
    def by_origin(self) -> dict[AlarmOrigin, int]:
        """The same by where they come from, most first."""
        return dict(Counter(origin for _, origin in self._begun).most_common())
