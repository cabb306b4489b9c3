"""A jog that goes on: said again well before it is over."""

import time
from collections.abc import Mapping
from typing import Final

from coordinator.client.asking import Asking
from coordinator.client.errors import JogLapsed

LAPSES_S: Final = 0.3
"""After which the coordinator lets a jog end that is not said again."""
RENEW_S: Final = 0.08
"""Between one time and the next."""


class Renewal:
    """Says one jog again and again. Raises ClientError where it is refused or comes too late.

    A jog that has lapsed is not begun anew: by then the joints rest, and nobody expects them to
    move again by themselves.
    """

    def __init__(self, asking: Asking, velocities_deg_s: Mapping[str, float]) -> None:
        self._asking = asking
        self._velocities_deg_s = dict(velocities_deg_s)
        self._said_s = 0.0

    async def begin(self) -> None:
        """Say it for the first time."""
        self._said_s = time.monotonic()
        await self._say(self._velocities_deg_s)

    async def again(self) -> None:
        """Say it again."""
        late_s = time.monotonic() - self._said_s
        if late_s > LAPSES_S:
            names = ", ".join(self._velocities_deg_s)
            raise JogLapsed(
                f"the jog of {names} was not said again for {late_s:.1f} s, {LAPSES_S:g} s at "
                "most: it is over, and the joints come to rest by themselves"
            )
        self._said_s += late_s
        await self._say(self._velocities_deg_s, LAPSES_S - RENEW_S)

    async def let_go(self) -> None:
        """End it at once; raises ClientError where that cannot be said, and it ends by itself."""
        await self._say({})

    async def _say(
        self, velocities_deg_s: Mapping[str, float], patience_s: float | None = None
    ) -> None:
        body = {"velocities_deg_s": velocities_deg_s}
        await self._asking.ask("jog", "POST", "/jog", body, has="phase", patience_s=patience_s)
