"""How a joint switches its fan, as far as that was seen: it is the joint's own affair."""

from typing import Final, NamedTuple

USUAL_ON_C: Final = 45.0
USUAL_HYSTERESIS_C: Final = 5.0
"""Of the joints that come with this software; others may do otherwise (wire protocol, Status)."""
PLAY_C: Final = 1.0
QUICK: Final = 0.1
"""Share of each new reading, once a second, in the temperature that counts here: less noise."""


class FanRule(NamedTuple):
    """Above `on_c` the fan comes on, below `off_c` it goes off. None: it stays as it is."""

    on_c: float | None
    off_c: float | None
    share: float
    """Of the fan while it runs, 0 to 1."""

    @property
    def has_switched(self) -> bool:
        """Whether it was seen to come on or to go off."""
        return self.on_c is not None or self.off_c is not None


class FanWatch:
    """What was seen of one joint's fan."""

    def __init__(self) -> None:
        self.share: float | None = None
        """Of the fan now; None before the first reading."""
        self._celsius = 0.0
        self._on_c: float | None = None
        self._off_c: float | None = None
        self._runs_at = 1.0
        self._still_at_c = -300.0
        """The warmest that it was seen without the fan."""
        self._runs_at_c = 300.0
        """The coolest that it was seen with the fan."""

    def take(self, celsius: float, share: float) -> bool:
        """A reading came, with the share of the fan; whether it runs otherwise than before."""
        was = self.share
        self._celsius = (
            celsius if was is None else self._celsius + QUICK * (celsius - self._celsius)
        )
        here_c = self._celsius
        if was is not None and (share > 0.0) is not (was > 0.0):
            if share > 0.0:
                self._on_c = here_c if self._on_c is None else (self._on_c + here_c) / 2
            else:
                self._off_c = here_c if self._off_c is None else (self._off_c + here_c) / 2
        elif share > 0.0:
            self._runs_at_c = min(self._runs_at_c, here_c)
        else:
            self._still_at_c = max(self._still_at_c, here_c)
        if share > 0.0:
            self._runs_at = share
        self.share = share
        return was is not None and share != was

    @property
    def seen(self) -> FanRule:
        """What was seen, and nothing else."""
        return FanRule(self._on_c, self._off_c, self._runs_at)

    @property
    def likely(self) -> FanRule:
        """The same with what is usual where nothing speaks against it."""
        on_c, off_c = self._on_c, self._off_c
        if on_c is None and self._still_at_c < USUAL_ON_C + PLAY_C:
            on_c = USUAL_ON_C
        usual_off_c = (USUAL_ON_C if on_c is None else on_c) - USUAL_HYSTERESIS_C
        if off_c is None and self._runs_at_c > usual_off_c - PLAY_C:
            off_c = usual_off_c
        return FanRule(on_c, off_c, self._runs_at)
