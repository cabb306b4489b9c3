"""Single point of control (ISO 10218-1): one client may command motion, the others watch.

The first that commands motion takes control when nobody has it. Others take it over explicitly,
which holds what moves. Hold and stop ask nobody. It ends when it is given back, or, while
nothing moves, a while after its holder was last heard, sooner where its feed has ended: a page that
is gone cannot say so.
"""

import hashlib
import re
from collections import Counter
from dataclasses import dataclass
from typing import Final

from coordinator.answers.control import ControlState
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused

FREED_AFTER_US: Final = 60_000_000
"""Without a word from its holder, while nothing moves. A feed that is open is a word."""
LEFT_AFTER_US: Final = 10_000_000
"""Without a word since the last feed of its holder ended: a page whose network falters, or that is
loaded anew, is back by then."""
_ID: Final = re.compile(r"[A-Za-z0-9_-]{8,64}")
_NAME: Final = re.compile(r"[ -~]{1,40}")


@dataclass(frozen=True, slots=True)
class Who:
    """A client: the id that it alone knows, empty for those that give none, and what to call it."""

    id: str
    name: str

    @property
    def public(self) -> str:
        """By which others may know it, without being able to pass for it."""
        return hashlib.sha256(self.id.encode()).hexdigest()[:12]


def who_is(client_id: str | None, name: str | None) -> Who:
    """The client that gives itself this id and name. Raises ValueError with a sentence."""
    if client_id is None:
        return Who("", "a script")
    if not _ID.fullmatch(client_id):
        raise ValueError(
            f"Unisono-Client is {client_id[:80]!r}, but must be 8 to 64 letters, digits, - or _"
        )
    if name is not None and not _NAME.fullmatch(name):
        raise ValueError(
            f"Unisono-Client-Name is {name[:80]!r}, but must be 1 to 40 printable ASCII characters"
        )
    return Who(client_id, name or "a page")


@dataclass(slots=True)
class Grant:
    """Control as one client has it, from when it got it."""

    who: Who
    since_us: int
    acted_us: int
    until_us: int
    """When it lapses, unless its holder is heard before, or anything moves."""
    kept: bool
    """Whether it was taken explicitly, or a command of its holder was carried out."""
    waiting: int = 0
    """Commands of its holder of which it is not known yet whether they are carried out."""


class Control:
    """Who commands. `moving` says whether anything moves or is about to."""

    def __init__(self) -> None:
        self._grant: Grant | None = None
        self._feeds: Counter[str] = Counter()

    # ---- commanding -------------------------------------------------------------------------

    def command(self, who: Who, now: int, *, moving: bool) -> Grant:
        """A client commands motion. Raises Refused while another has control.

        To be followed by `carried_out` or `came_to_nothing`.
        """
        self._expire(now, moving)
        grant = self._grant
        if grant is None:
            grant = self._grant = Grant(who, now, now, now + FREED_AFTER_US, kept=False)
        self.require(who, now)
        grant.acted_us = now
        grant.waiting += 1
        return grant

    def carried_out(self, grant: Grant) -> None:
        """A command was carried out."""
        grant.waiting -= 1
        grant.kept = True

    def came_to_nothing(self, grant: Grant) -> None:
        """A command was refused. Who got control by nothing else has it no more.

        Else a mistyped program would shut the others out of an arm that stands still.
        """
        grant.waiting -= 1
        if grant is self._grant and not grant.kept and not grant.waiting:
            self._grant = None

    def require(self, who: Who, now: int) -> None:
        """Raise Refused unless this client has control now."""
        grant = self._grant
        if grant is None:
            raise Refused(
                RefusalCode.CONTROL, "control was given back meanwhile; take control first"
            )
        if grant.who.id != who.id:
            raise Refused(
                RefusalCode.CONTROL,
                f"{grant.who.name} has control and commanded {_ago(now - grant.acted_us)} ago; "
                "take control first, which holds what moves",
            )

    def take(self, who: Who, now: int, *, moving: bool) -> Who | None:
        """Take control; from whom it was taken over, None if nobody else had it."""
        self._expire(now, moving)
        before = self._grant
        if before is not None and before.who.id == who.id:
            before.kept = True
            return None
        self._grant = Grant(who, now, now, now + FREED_AFTER_US, kept=True)
        return before.who if before is not None else None

    def release(self, who: Who) -> bool:
        """Give control back; whether this client had it."""
        if self._grant is None or self._grant.who.id != who.id:
            return False
        self._grant = None
        return True

    # ---- being there ------------------------------------------------------------------------

    def heard(self, client_id: str, now: int) -> None:
        """A client asked something."""
        if self._grant is not None and self._grant.who.id == client_id:
            self._grant.until_us = now + FREED_AFTER_US

    def feed_opened(self, client_id: str) -> None:
        """A client watches."""
        self._feeds[_known(client_id)] += 1

    def feed_closed(self, client_id: str, now: int) -> None:
        """A client that watched does so no more."""
        client_id = _known(client_id)
        self._feeds[client_id] -= 1
        if self._feeds[client_id]:
            return
        del self._feeds[client_id]
        if self._grant is not None and self._grant.who.id == client_id:
            self._grant.until_us = now + LEFT_AFTER_US

    def state(self, now: int, *, moving: bool) -> ControlState:
        """Who has control."""
        self._expire(now, moving)
        grant, watchers = self._grant, self._feeds.total()
        if grant is None:
            return ControlState(None, None, None, None, watchers)
        who = grant.who
        return ControlState(who.public, who.name, grant.since_us, grant.acted_us, watchers)

    def _expire(self, now: int, moving: bool) -> None:
        grant = self._grant
        if grant is None:
            return
        if moving or grant.who.id in self._feeds:
            grant.until_us = now + FREED_AFTER_US
        elif now >= grant.until_us:
            self._grant = None


def _known(client_id: str) -> str:
    """An id that can have control; nobody is kept from watching for a malformed one."""
    return client_id if _ID.fullmatch(client_id) else ""


def _ago(us: int) -> str:
    seconds = max(0, us) // 1_000_000
    return f"{seconds} s" if seconds < 120 else f"{seconds // 60} min"
