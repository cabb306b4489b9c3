"""Homing at a terminal while a key is held, joint by joint."""

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from rich.console import Group
from rich.text import Text

from coordinator.cli.common import CAUTION, ExitCode, Failure, client_at, err, out
from coordinator.cli.condition import headline, unconfirmed
from coordinator.cli.holding import Holding
from coordinator.cli.homing_ways import way_words
from coordinator.cli.jog_feed import Feed, feed_at
from coordinator.cli.jog_terminal import Terminal
from coordinator.cli.remote import giving_back
from coordinator.client.values import ArmSnapshot

if TYPE_CHECKING:
    from coordinator.core.homing import HomingSnapshot
    from coordinator.core.homing_ways import HomingWay

KEY: Final = "h"


def newer(arm: ArmSnapshot, joint: str, before: int) -> "HomingSnapshot | None":
    """The homing of this joint that began since; None for none. Pure."""
    homing = arm.homing
    if homing is None or homing.number <= before or homing.asked != (joint,):
        return None
    return homing


def home_while_held(
    url: str, ways: "Sequence[HomingWay]", *, as_json: bool
) -> "list[HomingSnapshot]":
    """Home these joints one after another, each while the key is held; their homings.

    Standard output is left to JSON where that is wanted. Raises Failure where whoever sits there
    leaves before all are homed.
    """
    console = err() if as_json else out()
    if not (sys.stdin.isatty() and console.file.isatty()):
        raise Failure(
            ExitCode.WRONG_INPUT,
            "the arm file has homing_while_held, so to home a joint a key is held: that needs a "
            "terminal for input and output",
        )
    done: list[HomingSnapshot] = []
    with (
        client_at(url) as client,
        Terminal.opened() as terminal,
        giving_back(client),
        feed_at(url) as feed,
    ):
        console.print(CAUTION)  # no key is obeyed yet
        for way in ways:
            before = feed.arm.homing.number if feed.arm.homing else 0
            held = _holding(feed, terminal, way.joint, before, was_held=bool(done))
            if not held.run(console):
                homed = " ".join(one.asked[0] for one in done) or "no joint"
                raise Failure(
                    ExitCode.NOT_FINISHED,
                    f"left before {way.joint} was homed: it is let go; homed: {homed}",
                )
            homing = newer(feed.arm, way.joint, before)
            assert homing is not None, "it is done"
            done.append(homing)
    return done


def _holding(feed: Feed, terminal: Terminal, joint: str, before: int, *, was_held: bool) -> Holding:
    """One joint's turn; `was_held`: the key is held still, by which the one before was homed."""
    return Holding(
        feed,
        terminal,
        KEY,
        {"type": "home", "joint": joint},
        lambda: _is_done(feed, joint, before),
        lambda said: _screen(feed.arm, joint, before, said),
        held_us=feed.now_us if was_held else None,
    )


def _is_done(feed: Feed, joint: str, before: int) -> bool:
    homing = newer(feed.arm, joint, before)
    return homing is not None and homing.state == "done"


def _screen(arm: ArmSnapshot, joint: str, before: int, said: str) -> Any:
    way = next((one for one in arm.homing_ways or () if one.joint == joint), None)
    homing = newer(arm, joint, before)
    lines = [
        *unconfirmed(arm),
        headline(arm),
        f"Not homed: {homing.message}" if homing is not None and homing.message else "",
        said,
        "" if way is None else way_words(way),
        f"hold {KEY} to home {joint}; it stops when let go. q or Ctrl-C leaves.",
        "Nobody here knows what stands in its way: look first.",
    ]
    return Group(*(Text(line) for line in lines if line))
