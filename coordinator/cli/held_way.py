"""A way that the arm goes while a key is held at a terminal, and no longer; what holds the key is
`holding.py`.
"""

import sys
from collections.abc import Mapping
from typing import Any, Final

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text

from coordinator.cli.common import CAUTION, ExitCode, Failure, client_at, err, out
from coordinator.cli.condition import headline, unconfirmed
from coordinator.cli.holding import GOES, Holding
from coordinator.cli.jog_feed import feed_at
from coordinator.cli.jog_terminal import Terminal
from coordinator.cli.remote import giving_back
from coordinator.client.values import ArmSnapshot, JointSnapshot
from coordinator.codes.link_word import LinkWord

THERE_DEG: Final = 0.01
HEARD_US: Final = 1_000_000
"""What a joint said longer ago says nothing of where it is."""
NONE: Final = "–"


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
            there = Holding(
                feed,
                terminal,
                GOES,
                {"type": "go", **place},
                lambda: not away(feed.arm, angles_deg, feed.now_us),
                lambda said: _screen(feed.arm, title, angles_deg, said, feed.now_us),
            ).run(console)
    if not there:
        raise Failure(ExitCode.NOT_FINISHED, f"left before the arm was at {title}: it is let go")
    console.print(f"the arm is at {title}")


def _screen(
    arm: ArmSnapshot, title: str, angles_deg: Mapping[str, float], said: str, now_us: int
) -> Any:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False)
    table.add_column("joint")
    for name in ("is at, °", "goes to, °"):
        table.add_column(name, justify="right")
    for joint in arm.joints:
        at_deg, target = joint.position_deg, angles_deg.get(joint.name)
        at = "not homed" if joint.homed is False else NONE
        if not _is_known(joint, now_us):
            at, at_deg = "not heard", None
        table.add_row(
            joint.name,
            at if at_deg is None else f"{at_deg:.2f}",
            "stays" if target is None else f"{target:.2f}",
        )
    lines = [*unconfirmed(arm), headline(arm), said]
    keys = f"hold {GOES} to go to {title}; it stops when let go. q or Ctrl-C leaves.\n"
    keys += "Each joint goes its own way: look first what stands between."
    return Group(table, *(Text(line) for line in lines if line), Text(keys))
