"""One person at a terminal who holds a key, and what moves as long."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from rich.console import Console
from rich.live import Live

from coordinator.cli.jog_feed import Feed
from coordinator.cli.jog_keys import TURNS_US
from coordinator.cli.jog_terminal import Terminal

LOOK_S: Final = 0.02
SAID_AGAIN_US: Final = 60_000
SHOWN_US: Final = 100_000
STOOD_US: Final = 250_000
"""A process that stood still for so long has let go, and keys of meanwhile are old."""
GOES: Final = "g"


class HeldKey:
    """The key that goes. A terminal tells that it repeats, but not that it is let go. Pure."""

    def __init__(self, goes: str = GOES, held_us: int | None = None) -> None:
        """`held_us`: until then it was held for something else, and must be let go first."""
        self._goes, self._held_us = goes, held_us
        self._until_us: int | None = None

    def press(self, key: str, now_us: int) -> None:
        """A key was pressed, or repeats; any other one lets go."""
        if self._held_us is not None and key == self._goes:
            if now_us - self._held_us < TURNS_US:
                self._held_us = now_us
                return
            self._held_us = None
        self._until_us = now_us + TURNS_US if key == self._goes else None

    def let_go(self) -> None:
        """Nothing is asked for until it is pressed again."""
        self._until_us = None

    def is_held(self, now_us: int) -> bool:
        """Whether it is held, as far as a terminal tells."""
        return self._until_us is not None and now_us < self._until_us


class Holding:
    """What is wished while the key is held, until it is over or whoever sits there leaves.

    `screen` shows it, and is told why the last wish was refused. `held_us`: until then the same key
    was held for something else.
    """

    def __init__(
        self,
        feed: Feed,
        terminal: Terminal,
        key: str,
        wish: Mapping[str, object],
        is_over: Callable[[], bool],
        screen: Callable[[str], Any],
        *,
        held_us: int | None = None,
    ) -> None:
        self._feed, self._terminal = feed, terminal
        self._wish, self._is_over, self._screen = wish, is_over, screen
        self._key = HeldKey(key, held_us)
        self._goes = False
        self._said = ""

    def run(self, console: Console) -> bool:
        """Whether it came to its end; False where whoever sits there left."""
        feed = self._feed
        looked_us = shown_us = told_us = feed.now_us
        console.soft_wrap = False
        with Live(console=console, auto_refresh=False) as shown:
            while True:
                keys = self._terminal.keys(LOOK_S)
                now_us = feed.now_us
                if now_us - looked_us > STOOD_US:
                    keys = []
                    self._terminal.forget()
                    self._key.let_go()
                looked_us = now_us
                for message in feed.look():
                    self._key.let_go()
                    self._goes = False
                    self._said = f"Refused: {message}"
                for key in keys:
                    self._key.press(key, now_us)
                is_over = self._is_over()
                leaves = self._terminal.ended_by is not None or self._terminal.stops or "q" in keys
                goes = self._key.is_held(now_us) and not is_over and not leaves
                if goes and (not self._goes or now_us - told_us >= SAID_AGAIN_US):
                    self._said, told_us = "", now_us
                    feed.wish(**self._wish)
                elif self._goes and not goes:
                    feed.wish(type="jog", velocities_deg_s={})
                self._goes = goes
                if is_over or leaves or now_us - shown_us >= SHOWN_US:
                    shown_us = now_us
                    shown.update(self._screen(self._said), refresh=True)
                if is_over or leaves:
                    return is_over and not leaves
