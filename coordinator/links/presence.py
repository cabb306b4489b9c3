"""Whether joints that were found still answer: one that loses power says no goodbye.

Its announcement stays good for 75 minutes (RFC 6762 §10 gives a PTR record that long), its address
for two; after that, only asking again tells.
"""

from collections.abc import Awaitable, Callable
from typing import Final

from coordinator.core.events import Found, Silent
from coordinator.links.names import ASKED

ROUND_S: Final = 60.0
"""Between two rounds of questions, most of which are answered from what was heard meanwhile."""
MISSES: Final = 3
"""Rounds without an answer until a joint counts as silent: multicasts get lost on Wi-Fi."""


class Presence:
    """Asks about names once a round; delivers `Silent` once, and `Found` when it is over."""

    def __init__(
        self,
        ask: Callable[[str], Awaitable[Found | None]],
        deliver: Callable[[Found | Silent], None],
    ) -> None:
        self._ask = ask
        self._deliver = deliver
        self._misses: dict[str, int] = {}

    def begin(self, name: str) -> None:
        """A joint was found under a name."""
        if name in self._misses or len(self._misses) < ASKED:
            self._misses[name] = 0

    def end(self, name: str) -> None:
        """A joint said goodbye."""
        self._misses.pop(name, None)

    async def round(self) -> None:
        """Ask about every name once."""
        for name in list(self._misses):
            found = await self._ask(name)
            misses = self._misses.get(name)
            if misses is None:
                continue  # it said goodbye meanwhile
            self._misses[name] = 0 if found is not None else misses + 1
            if found is not None and misses >= MISSES:
                self._deliver(found)
            elif found is None and misses + 1 == MISSES:
                self._deliver(Silent(name))
