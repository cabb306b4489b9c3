"""A stream between a laptop and a joint, from its first frame to its end, as both ends see it.

What a frame is on the way, and how each end reads one, is for subclasses to say: by values
(`by_value`) or by the bytes that really go over the wire (`by_bytes`).
"""

from abc import abstractmethod
from dataclasses import dataclass, field
from typing import Final

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Happen, Schedule
from protocol.errors import HandshakeError, WireError
from protocol.messages import Welcome

KNOCK_US: Final = 3_000_000
"""What a knock is given."""
HANDSHAKE_US: Final = 5_000_000
"""A laptop that has no whole handshake by then gives the stream up."""
NO_ANSWER_US: Final = 10_000_000
"""Pings every 5 s, each given 5 s: a peer that vanished is noticed by then."""


@dataclass(slots=True, eq=False)
class JointEnd:
    """A joint's end of all its streams, whoever opened them."""

    streams: dict[int, "Stream"] = field(default_factory=dict)
    """Those that it knows, by its own numbers."""
    opened: int = 0
    """Streams until now: the number of the newest."""

    def next_number(self) -> int:
        """The number of one more stream."""
        self.opened += 1
        return self.opened


@dataclass(slots=True, eq=False)
class Link:
    """What joins one laptop and one joint, and what either end keeps of the other."""

    laptop: Laptop
    node: Node
    end: JointEnd
    schedule: Schedule
    observer: Observer | None
    stream: "Stream | None" = None
    """As the laptop sees it."""
    address: ev.StreamAddress | None = None
    """Where the joint's datagrams go."""
    boot: int | None = None
    """The boot that the joint's datagram keys come from; another boot has other keys."""

    def forward(self, happen: Happen, *args: object) -> None:
        """Let something happen once what is written to a stream now has come to the joint."""
        now = self.schedule.now
        delay_us = self.laptop.faulty_links[self.node.id].stream_delay("forward", now)
        self.schedule.at(now + delay_us, happen, *args)

    def back(self, happen: Happen, *args: object) -> None:
        """Let something happen once what the joint writes to a stream now has come."""
        now = self.schedule.now
        delay_us = self.laptop.faulty_links[self.node.id].stream_delay("back", now)
        self.schedule.at(now + delay_us, happen, *args)


class Stream:
    """One stream. `begin` opens it; with a `knock` it is opened for the joint's proof only."""

    def __init__(
        self, link: Link, session: int, address: ev.StreamAddress, knock: ev.Knock | None = None
    ) -> None:
        self.link = link
        self.session = session
        self.address = address
        self.knock = knock
        self.number = link.end.next_number()
        self.is_open = True
        """As the laptop sees it."""
        self.is_up = False
        """Whether the handshake is whole, as the laptop sees it."""

    # ---- what a frame is ----------------------------------------------------------------------

    @abstractmethod
    def _hello(self) -> object:
        """The laptop's first frame."""

    @abstractmethod
    def _greet(self, hello: object) -> None:
        """The joint takes the stream, and its first frame."""

    @abstractmethod
    def _take(self, frame: object) -> None:
        """The joint takes a frame, and answers."""

    @abstractmethod
    def _close(self) -> None:
        """The joint learns that a stream that it knew is closed."""

    @abstractmethod
    def _read(self, frame: object) -> None:
        """The laptop takes a frame. Raises HandshakeError or WireError for one that ends it."""

    @abstractmethod
    def _seal(self, content: ev.Content) -> tuple[int, object]:
        """The number and the frame of something that the joint is asked for."""

    # ---- from the laptop ----------------------------------------------------------------------

    def begin(self) -> None:
        """Connect and say hello."""
        now = self.link.schedule.now
        hello = self._hello()
        if self.knock is None:
            self.link.schedule.at(now + HANDSHAKE_US, self._late)
        else:
            silent = "nobody answers in time"
            self.link.schedule.at(now + KNOCK_US, self.down, silent, "unreachable")
        self.link.forward(self._opens, hello)

    def send(self, content: ev.Content) -> int | None:
        """Send something on a stream that is up; the number of its frame."""
        if not self.is_up:
            return None
        number, frame = self._seal(content)
        self.link.forward(self._arrives, frame)
        return number

    def hang_up(self) -> None:
        """Close it."""
        self.is_open = False
        if self.link.stream is self:
            self.link.stream = None
        self.link.forward(self._closed)

    def _opens(self, hello: object) -> None:
        if self.link.node.is_at(self.address):
            self.link.end.streams[self.number] = self
            self._greet(hello)
        else:
            self.link.back(self.down, f"no stream to {self.address}", "unreachable")

    def _arrives(self, frame: object) -> None:
        node = self.link.node
        if not node.alive or self.link.end.streams.get(self.number) is not self:
            return
        if self.link.observer is not None:
            self.link.observer.carried(node.id, "forward", frame)
        self._take(frame)
        node.touched()

    def _closed(self) -> None:
        if self.link.end.streams.pop(self.number, None) is not None and self.link.node.alive:
            self._close()

    # ---- from the joint -----------------------------------------------------------------------

    def answer(self, frame: object) -> None:
        """The joint sends a frame."""
        self.link.back(self._comes, frame)

    def refuse(self) -> None:
        """The joint closes it."""
        if self.link.end.streams.pop(self.number, None) is not None:
            self.link.back(self.down, "the joint closed the stream")

    def _comes(self, frame: object) -> None:
        """A frame has come to the laptop; while that sleeps, it waits."""
        if not self.is_open:
            return
        until_us = self.link.laptop.asleep_until_us
        if until_us is not None:
            self.link.schedule.at(until_us + 1, self._comes, frame)
            return
        if self.link.observer is not None:
            self.link.observer.carried(self.link.node.id, "back", frame)
        try:
            self._read(frame)
        except HandshakeError as error:
            self.down(error.message, error.code)
        except WireError as error:
            self.down(error.message)

    # ---- as the laptop sees it ----------------------------------------------------------------

    def _late(self) -> None:
        if self.is_open and not self.is_up:
            self.down("no handshake within 5 s", "handshake-timeout")

    def up(self, welcome: Welcome) -> None:
        """The handshake is whole."""
        self.is_up = True
        self.link.address = self.address
        self.link.boot = welcome.boot
        self.link.laptop.handle(ev.LinkUp(self.link.node.id, welcome))

    def down(self, message: str, code: str = "stream-closed") -> None:
        """It has ended, or never came about; a laptop that sleeps learns of it later."""
        if not self.is_open:
            return
        until_us = self.link.laptop.asleep_until_us
        if until_us is not None:
            self.link.schedule.at(until_us + 1, self.down, message, code)
            return
        self.hang_up()
        joint_id = self.link.node.id
        if self.knock is None:
            self.link.laptop.handle(ev.LinkDown(joint_id, code, message))
        else:
            self.link.laptop.handle(ev.KnockFailed(joint_id, self.address, code, message))
