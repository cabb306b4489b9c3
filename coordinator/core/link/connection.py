"""How one joint can be reached: where it may be, its stream, and who it proved to be."""

from enum import StrEnum
from typing import Final

from coordinator.core.addresses import Addresses
from coordinator.core.events import StreamAddress
from protocol.messages import Welcome

RETRY_FIRST_US: Final = 200_000
RETRY_LAST_US: Final = 2_000_000
"""Back-off between attempts to connect, doubled from first to last. All joints are on one LAN."""
SAID_GOODBYE: Final = "it said goodbye"


class LinkState(StrEnum):
    """Where a joint's stream is. What people and programs are told is in `words`."""

    OFFLINE = "offline"
    CONNECTING = "connecting"
    UP = "up"
    REFUSED = "refused"
    """It answered and would not have us, or is not what it must be."""


class Connection:
    """The stream to one joint and the session that it began. Changed by its methods alone."""

    def __init__(self, fixed: StreamAddress | None) -> None:
        self.addresses = Addresses(fixed)
        self.address: StreamAddress | None = None
        """Where it proved itself for the stream that is open, or was last."""
        self.connecting_to: StreamAddress | None = None
        """Where a stream is being opened."""
        self.state = LinkState.OFFLINE
        self.message = "not found on the network"
        self.conflict = ""
        """A sentence while two joints prove this id: then nothing may move it."""
        self.retry_us: int | None = None if fixed is None else 0
        """When to connect next; None while there is no need, or nowhere to connect to."""
        self.welcome: Welcome | None = None
        """Of the session, which outlives a stream that broke."""
        self.configured = False
        self.configuration_message = ""
        """Why it does not take the arm file's figures, a clause; empty where it has not said so."""
        self.streams = 0
        """How often its stream was opened. For people, as is the next."""
        self.boots_seen = 0
        """How often it had restarted when it was heard again."""
        self._connecting_us = 0
        """When the stream that is being opened was begun."""
        self._retry_after_us = RETRY_FIRST_US
        self._told_down: set[str] = set()
        """Codes of the ends of streams since one was up last."""

    @property
    def up(self) -> bool:
        """Whether the session stands and the stream is open."""
        return self.state is LinkState.UP

    @property
    def in_session(self) -> bool:
        """Whether datagram keys are agreed: they outlive a stream that broke."""
        return self.welcome is not None and self.state is not LinkState.REFUSED

    # ---- where it is ----------------------------------------------------------------------

    def announced(self, address: StreamAddress, instance: str, now: int) -> None:
        """It is said to be there. A new address is tried at once, unless a stream is open."""
        is_new = address not in self.addresses
        self.addresses.announced(address, instance, self.address)
        if is_new and not self.up:
            self.retry_us = now

    def goodbye(self, instance: str) -> None:
        """A goodbye was heard for a name; anyone can say it, so it ends nothing."""
        self.addresses.goodbye(instance)
        if self.addresses.said_goodbye and self.state is LinkState.OFFLINE:
            self.message = SAID_GOODBYE

    def seen(self, boot: int, begun_us: int, now: int) -> None:
        """Something that only the joint of this boot can say came from where it is connected."""
        if self.address is not None:
            self.addresses.seen(self.address, boot, begun_us, now)

    def twins_found(self, conflict: str) -> None:
        """Two joints prove its id; the sentence says where."""
        self.conflict = conflict

    def twins_gone(self) -> None:
        """Only one joint proves its id again."""
        self.conflict = ""

    # ---- its stream -----------------------------------------------------------------------

    def retry_at(self, at_us: int | None) -> None:
        """Connect then, or not before something is heard of it."""
        self.retry_us = at_us

    def connecting(self, address: StreamAddress, now: int) -> None:
        """A stream is being opened, in place of one that was open."""
        self.addresses.tried(address, now)
        self.retry_us = None
        self.connecting_to, self._connecting_us = address, now
        if self.state is not LinkState.REFUSED:
            self.state = LinkState.CONNECTING

    def linked(self, welcome: Welcome, now: int) -> bool:
        """Take a finished handshake; True when the joint has booted since the last one."""
        rebooted = self.welcome is not None and self.welcome.boot != welcome.boot
        self.streams += 1
        self.boots_seen += rebooted
        if self.welcome is None or rebooted:
            self.configured = False
        self.configuration_message = ""
        self.welcome = welcome
        self.address, self.connecting_to = self.connecting_to or self.address, None
        self.state, self.message = LinkState.UP, ""
        self._told_down.clear()
        self._retry_after_us = RETRY_FIRST_US
        self.retry_us = None
        assert self.address is not None
        self.addresses.proved(self.address, welcome.boot, self._connecting_us, now)
        return rebooted

    def is_news(self, code: str) -> bool:
        """Whether a stream's end differs in kind from those before, since one was up last."""
        return self.up or code not in self._told_down

    def dropped(self, state: LinkState, code: str, message: str, now: int) -> None:
        """The stream ended or never came about: try again after a while."""
        if self.connecting_to is not None:
            self.addresses.failed(self.connecting_to)
        if self.addresses.said_goodbye and code == "unreachable":
            message = SAID_GOODBYE
        self._down(state, code, message, now + self._retry_after_us)

    def begin_session(self, now: int) -> None:
        """A new session: it is connected anew, at once."""
        self.welcome = None
        self.configured = False
        self._down(LinkState.OFFLINE, "", "connecting again for a new session", now)

    def _down(self, state: LinkState, code: str, message: str, retry_us: int) -> None:
        self.state, self.message, self.connecting_to = state, message, None
        self._told_down.add(code)
        self.retry_us = retry_us
        self._retry_after_us = min(2 * self._retry_after_us, RETRY_LAST_US)

    # ---- its configuration ----------------------------------------------------------------

    def configuration_taken(self) -> None:
        """It knows the arm file's figures."""
        self.configured = True
        self.configuration_message = ""

    def configuration_refused(self, why: str) -> None:
        """It does not take the arm file's figures."""
        self.configured = False
        self.configuration_message = f"does not take its configuration: {why}"

    def configuration_unanswered(self) -> None:
        """The stream ended first: nobody knows which figures it has."""
        self.configured = False
