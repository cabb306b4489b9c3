"""A way that the arm goes while a key is held at a terminal, and no longer."""

import sys
from collections.abc import Mapping
from typing import Any, Final

from rich import box
from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from coordinator.cli.common import CAUTION, ExitCode, Failure, client_at, err, out
from coordinator.cli.condition import headline, unconfirmed
from coordinator.cli.jog_feed import Feed, feed_at
from coordinator.cli.jog_keys import TURNS_US
from coordinator.cli.jog_terminal import Terminal
from coordinator.cli.remote import giving_back
from coordinator.client.values import ArmSnapshot, JointSnapshot
from coordinator.codes.link_word import LinkWord

LOOK_S: Final = 0.02
SAID_AGAIN_US: Final = 60_000
SHOWN_US: Final = 100_000
STOOD_US: Final = 250_000
"""A process that stood still for so long has let go, and keys of meanwhile are old."""
THERE_DEG: Final = 0.01
GOES: Final = "g"
HEARD_US: Final = 1_000_000
"""What a joint said longer ago says nothing of where it is."""
NONE: Final = "–"


class HeldKey:
    """The key that goes. A terminal tells that it repeats, but not that it is let go. Pure."""

    def __init__(self) -> None:
        self._until_us: int | None = None

    def press(self, key: str, now_us: int) -> None:
        """A key was pressed, or repeats; any other one lets go."""
        self._until_us = now_us + TURNS_US if key == GOES else None

    def let_go(self) -> None:
        """Nothing is asked for until it is pressed again."""
        self._until_us = None

    def is_held(self, now_us: int) -> bool:
        """Whether it is held, as far as a terminal tells."""
        return self._until_us is not None and now_us < self._until_us


def away(arm: ArmSnapshot, angles_deg: Mapping[str, float], now_us: int) -> list[str]:
    """Joints that are not there yet, move still, or are not heard. Pure.

    `angles_deg` says by joint where there is.
    """
    known = {joint.name: joint for joint in arm.joints if _is_known(joint, now_us)}
    return [
        name
        for name, target in angles_deg.items()
        if (joint := known.get(name)) is None
        or joint.position_deg is None
        or abs(joint.position_deg - target) > THERE_DEG
        or joint.velocity_deg_s
    ]


def _is_known(joint: JointSnapshot, now_us: int) -> bool:
    """Whether what it said last says where it is now."""
    heard_us = joint.heard_at_us
    return joint.link == LinkWord.UP and heard_us is not None and now_us - heard_us <= HEARD_US


def go_while_held(
    url: str,
    title: str,
    place: Mapping[str, object],
    angles_deg: Mapping[str, float],
    *,
    as_json: bool = False,
) -> None:
    """Turn joints to a place while a key is held, until they are there.

    `place` is what a wish to go names. Standard output is left to JSON where that is wanted.
    Raises Failure where whoever sits there leaves before.
    """
    console = err() if as_json else out()
    if not (sys.stdin.isatty() and console.file.isatty()):
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"to go to {title} a key is held: that needs a terminal for input and output",
        )
    with client_at(url) as client:
        client.arm()  # what is wrong with the address or the token is told best there
        with Terminal.opened() as terminal, giving_back(client), feed_at(url) as feed:
            console.print(CAUTION)  # no key is obeyed yet
            there = _Way(feed, terminal, title, place, angles_deg).run(console)
    if not there:
        raise Failure(ExitCode.NOT_FINISHED, f"left before the arm was at {title}: it is let go")
    console.print(f"the arm is at {title}")


class _Way:
    """One person at a terminal, and the arm on its way."""

    def __init__(
        self,
        feed: Feed,
        terminal: Terminal,
        title: str,
        place: Mapping[str, object],
        angles_deg: Mapping[str, float],
    ) -> None:
        self._feed, self._terminal = feed, terminal
        self._title, self._place, self._angles_deg = title, place, angles_deg
        self._key = HeldKey()
        self._goes = False
        self._said = ""
        """Why the last wish was refused."""

    def run(self, console: Console) -> bool:
        """Until the arm is there, which is True, or whoever sits there leaves."""
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
                is_there = not away(feed.arm, self._angles_deg, now_us)
                leaves = self._terminal.ended_by is not None or self._terminal.stops or "q" in keys
                goes = self._key.is_held(now_us) and not is_there and not leaves
                if goes and (not self._goes or now_us - told_us >= SAID_AGAIN_US):
                    self._said, told_us = "", now_us
                    feed.wish(type="go", **self._place)
                elif self._goes and not goes:
                    feed.wish(type="jog", velocities_deg_s={})
                self._goes = goes
                if is_there or leaves or now_us - shown_us >= SHOWN_US:
                    shown_us = now_us
                    shown.update(self._screen(feed.arm), refresh=True)
                if is_there or leaves:
                    return is_there and not leaves

    def _screen(self, arm: ArmSnapshot) -> Any:
        table = Table(box=box.SIMPLE_HEAD, show_edge=False)
        table.add_column("joint")
        for name in ("is at, °", "goes to, °"):
            table.add_column(name, justify="right")
        for joint in arm.joints:
            at_deg, target = joint.position_deg, self._angles_deg.get(joint.name)
            at = "not homed" if joint.homed is False else NONE
            if not _is_known(joint, self._feed.now_us):
                at, at_deg = "not heard", None
            table.add_row(
                joint.name,
                at if at_deg is None else f"{at_deg:.2f}",
                "stays" if target is None else f"{target:.2f}",
            )
        lines = [*unconfirmed(arm), headline(arm), self._said]
        keys = f"hold {GOES} to go to {self._title}; it stops when let go. q or Ctrl-C leaves.\n"
        keys += "Each joint goes its own way: look first what stands between."
        return Group(table, *(Text(line) for line in lines if line), Text(keys))
