"""`unisono jog` without a joint: keys of a terminal turn the joints."""

import contextlib
import sys
from collections.abc import Iterator
from typing import Final

from rich import box
from rich.console import Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from coordinator.cli.common import ExitCode, Failure, caution, client_at, out
from coordinator.cli.condition import headline, unconfirmed
from coordinator.cli.jog_feed import Feed, feed_at
from coordinator.cli.jog_keys import Asked, End, Hand, HoldAll, StepBy, Turn
from coordinator.cli.jog_terminal import Terminal
from coordinator.cli.remote import giving_back
from coordinator.client import Client, Refused
from coordinator.client.values import ArmSnapshot, JointSnapshot
from coordinator.codes.link_word import LinkWord

LOOK_S: Final = 0.02
SAID_AGAIN_US: Final = 60_000
STOOD_US: Final = 250_000
"""A process that stood still for so long has let go, and keys of meanwhile are old."""
SHOWN_US: Final = 100_000
NOT_HEARD_US: Final = 1_000_000
NONE: Final = "–"
KEYS: Final = (
    "↑ ↓ joint   ← → turn it   1 2 3 fine, normal, fast   s other steps, or none\n"
    "Space or any other key holds   q ends. A software hold: not an emergency stop."
)


def live(url: str, speed: str) -> ExitCode:
    """Turn joints by keys until whoever sits there is done."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Failure(
            ExitCode.WRONG_INPUT,
            "jog without JOINT and DEGREES takes keys, and needs a terminal for input and output; "
            "'unisono jog JOINT DEGREES' turns one joint by an angle",
        )
    with client_at(url) as client:
        client.arm()  # what is wrong with the address or the token is told best there
        with Terminal.opened() as terminal, giving_back(client):
            ended = _Live(client, url, terminal, speed).run()
    if ended is not None:
        raise Failure(ExitCode.NOT_FINISHED, f"interrupted ({ended}): what was turned is let go")
    out().print("let go; control is given back")
    return ExitCode.DONE


class _Live:
    """One person at a terminal, and the arm."""

    def __init__(self, client: Client, url: str, terminal: Terminal, speed: str) -> None:
        self._client, self._url, self._terminal = client, url, terminal
        self._speed = speed
        self._said = ""
        """What became of the last key, for people."""
        self._ends_deg: dict[str, float] = {}

    def run(self) -> str | None:
        """Until the end; what ended it, if it was no key."""
        hand: Hand | None = None
        while True:
            with feed_at(self._url) as feed:
                if hand is None:
                    hand = Hand([one.name for one in feed.arm.joints], self._speed)
                    caution(as_json=False)  # no key is obeyed yet
                over = self._follow(feed, hand)
            if over:
                return self._terminal.ended_by.name if self._terminal.ended_by else None

    def _follow(self, feed: Feed, hand: Hand) -> bool:
        """Obey keys; whether it is over. False after a stop, when the feed is to be opened anew."""
        looked_us = told_us = shown_us = feed.now_us
        console = out()
        console.soft_wrap = False
        with Live(console=console, auto_refresh=False) as shown:
            while True:
                keys = self._terminal.keys(LOOK_S)
                now_us = feed.now_us
                if now_us - looked_us > STOOD_US:
                    keys = []
                    self._terminal.forget()
                    self._obey(feed, hand, hand.let_go())
                looked_us = now_us
                self._hear(feed, hand)
                for key in keys:
                    if self._obey(feed, hand, hand.press(key, now_us)):
                        return True
                    if hand.waits:
                        self._said = "Not taken: the step before is not done."
                self._obey(feed, hand, hand.look(now_us))
                if hand.sign and now_us - told_us >= SAID_AGAIN_US:
                    told_us = now_us
                    self._turn(feed, hand, hand.sign)
                if self._terminal.ended_by is not None:
                    self._obey(feed, hand, hand.let_go())
                    return True
                if self._terminal.stops:
                    self._obey(feed, hand, hand.let_go())
                    self._terminal.stop(lambda: _put_away(shown))
                    return False
                if keys or now_us - shown_us >= SHOWN_US:
                    shown_us = now_us
                    shown.update(self._screen(feed, hand), refresh=True)

    def _hear(self, feed: Feed, hand: Hand) -> None:
        for message in feed.look():
            hand.refused()
            self._ends_deg.clear()
            self._said = f"Refused: {message}"
            if "take control" in message:
                self._said += " ('unisono control take' in another terminal)"
        joint = feed.joint(hand.joint)
        if joint.heard_at_us is not None:
            hand.seen(joint.heard_at_us, joint.velocity_deg_s or 0.0)

    def _obey(self, feed: Feed, hand: Hand, asked: list[Asked]) -> bool:
        """Do what the keys ask for; whether that is the end."""
        for one in asked:
            match one:
                case Turn(sign=sign):
                    self._said = ""
                    self._ends_deg.clear()
                    self._turn(feed, hand, sign)
                case StepBy(joint=name, by_deg=by_deg):
                    self._said = ""
                    joint = feed.joint(name)
                    if joint.position_deg is not None:
                        self._ends_deg = {name: joint.position_deg + by_deg}
                    speed = joint.jog_speeds_deg_s.named(hand.speed)
                    feed.wish(type="step", joint=name, by_deg=by_deg, speed_deg_s=speed)
                case HoldAll():
                    self._hold()
                case End():
                    return True
        return False

    def _turn(self, feed: Feed, hand: Hand, sign: int) -> None:
        speed = feed.joint(hand.joint).jog_speeds_deg_s.named(hand.speed)
        feed.wish(type="jog", velocities_deg_s={hand.joint: sign * speed} if sign else {})

    def _hold(self) -> None:
        try:
            self._client.hold()
            self._said = "Hold is asked for."
        except Refused as no:
            self._said = f"No hold: {no}"

    def _screen(self, feed: Feed, hand: Hand) -> Group:
        arm, control = feed.arm, feed.control
        silent_us = feed.now_us - arm.now_us
        told = [Text(sentence, "bold") for sentence in unconfirmed(arm)]
        if silent_us > NOT_HEARD_US:
            told.append(Text(f"The coordinator was not heard for {silent_us / 1e6:.0f} s.", "bold"))
        holder = control.name if control.holder is not None else None
        turns = "while the key repeats" if hand.by_deg is None else f"by {hand.by_deg:g}° a press"
        return Group(
            *told,
            _table(arm, hand, self._ends_deg),
            Text(f"{holder or 'nobody'} commands; speed {hand.speed}; turns {turns}"),
            Text(KEYS),
            Text(self._said, "bold"),
        )


@contextlib.contextmanager
def _put_away(shown: Live) -> Iterator[None]:
    """The table is shown no more, as this terminal is another's; a later one begins anew."""
    shown.stop()
    yield


def _table(arm: ArmSnapshot, hand: Hand, ends_deg: dict[str, float]) -> Table:
    table = Table(title=headline(arm), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    for name in ("", "joint", "angle °", "asked °", "°/s", "state"):
        table.add_column(name, justify="right" if "°" in name else "left")
    for joint in arm.joints:
        name, at_deg = joint.name, joint.position_deg
        is_up = joint.link is LinkWord.UP
        table.add_row(
            "▶" if name == hand.joint else "",
            name,
            f"{at_deg:.2f}" if at_deg is not None and is_up else NONE,
            f"{ends_deg[name]:.2f}" if name in ends_deg else NONE,
            f"{joint.velocity_deg_s or 0:.1f}" if is_up else NONE,
            _state(joint) if is_up else f"{joint.link} {joint.link_message}",
            style="bold" if name == hand.joint else None,
        )
    return table


def _state(joint: JointSnapshot) -> str:
    state = str(joint.state or NONE)
    if joint.faults:
        state = f"{state}: {' '.join(joint.faults)}"
    return state if joint.homed else f"{state}, not homed"
