"""What goes between laptops and joints, passed on by one carrier that owns both ends of each link.

Subclasses say what a message is on the way: a value (`by_value`), which is fast, or the bytes and
tags that really go over the wire (`by_bytes`), which shows that both ways tell the same.
"""

from abc import abstractmethod
from random import Random

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop, Sent
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Schedule
from coordinator.rehearsal.stream import NO_ANSWER_US, JointEnd, Link, Stream
from protocol.drive import Drive
from protocol.status import Status


class Carrier:
    """Carries everything in one world. `random` is for what the ends draw.

    `answers_at_once` says that a joint answers a datagram before it takes the next one that comes
    in the same instant; otherwise answers are sealed and sent when it has taken all of these.
    """

    def __init__(
        self,
        schedule: Schedule,
        random: Random,
        observer: Observer | None,
        *,
        answers_at_once: bool,
    ) -> None:
        self._schedule = schedule
        self._random = random
        self._observer = observer
        self._answers_at_once = answers_at_once
        self._nodes: dict[str, Node] = {}
        self._ends: dict[str, JointEnd] = {}
        self._links: list[dict[str, Link]] = []
        """By a laptop's number and a joint's id."""

    def add_joint(self, node: Node) -> None:
        """One more joint; all are there before the first laptop."""
        self._nodes[node.id] = node
        self._ends[node.id] = JointEnd()

    def add_laptop(self, laptop: Laptop) -> None:
        """One more laptop, with a link to each joint."""
        self._links.append(
            {
                node.id: Link(laptop, node, self._ends[node.id], self._schedule, self._observer)
                for node in self._nodes.values()
            }
        )

    # ---- what a message is --------------------------------------------------------------------

    @abstractmethod
    def _seal(self, link: Link, drive: Drive, now: int) -> object | None:
        """A drive on its way, sent at an arm time; None where the ends share no keys yet."""

    @abstractmethod
    def _damaged(self, message: object) -> object | None:
        """What a damaged message comes as; None where it need not come, as no end would take it."""

    @abstractmethod
    def _take(self, node: Node, message: object) -> object | None:
        """A joint takes a drive, and sends what it has to say; its answer, if it gives one."""

    @abstractmethod
    def _forged(self, node: Node, message: object) -> bool:
        """A damaged message has come to a joint: whether that took it for a drive."""

    @abstractmethod
    def _status(self, answer: object) -> Status:
        """What an answer tells."""

    @abstractmethod
    def _reply(self, node: Node, answer: object, *, at_once: bool) -> object:
        """An answer on its way, sent now."""

    @abstractmethod
    def _open(self, link: Link, message: object) -> ev.Replied | None:
        """What a reply says; None for one that is of no trusted joint, or of another session."""

    @abstractmethod
    def _stream(self, link: Link, action: ev.Connect) -> Stream:
        """A stream to be opened."""

    @abstractmethod
    def _knock(self, link: Link, action: ev.Knock) -> None:
        """Ask for a joint's proof at an address."""

    @abstractmethod
    def _say(self, node: Node) -> None:
        """Bring a joint up to now, and send what it has to say."""

    # ---- from a laptop ------------------------------------------------------------------------

    def carry_out(self, laptop: Laptop, action: ev.Action) -> Sent:
        """Do what a core asks for; what it must know of something that was sent."""
        links = self._links[laptop.number]
        if isinstance(action, ev.SendDrive):
            return self._send_drive(links[action.joint_id], action.drive)
        if isinstance(action, ev.SendFrame):
            stream = links[action.joint_id].stream
            number = None if stream is None else stream.send(action.content)
            return None if number is None else ev.FrameSent(action.joint_id, action.token, number)
        if isinstance(action, ev.Connect):
            link = links[action.joint_id]
            self._hang_up(link)
            stream = link.stream = self._stream(link, action)
            stream.begin()
        elif isinstance(action, ev.Disconnect):
            link = links[action.joint_id]
            self._hang_up(link)
            link.address = None
        elif isinstance(action, ev.Knock):
            self._knock(links[action.joint_id], action)
        elif isinstance(action, ev.Seek):
            for link in links.values():
                for arrival in laptop.faulty_links[link.node.id].forward(self._schedule.now):
                    self._schedule.at(arrival.at_us, self._asked, link)
        return None

    def cut_off(self, laptop: Laptop, joint_id: str) -> None:
        """No ping came through to a joint for too long: its stream is given up."""
        stream = self._links[laptop.number][joint_id].stream
        if stream is not None:
            stream.down("it answers no pings")

    def _hang_up(self, link: Link) -> None:
        if link.stream is not None:
            link.stream.hang_up()

    def _send_drive(self, link: Link, drive: Drive) -> ev.DriveSent | None:
        now, address, node = link.laptop.now, link.address, link.node
        message = None if address is None else self._seal(link, drive, now)
        if address is None or message is None:
            return None
        for arrival in link.laptop.faulty_links[node.id].forward(self._schedule.now):
            if not node.is_at(address):
                continue
            if not arrival.damaged:
                self._schedule.at(arrival.at_us, self._drive_arrives, link, drive, message)
            elif (damaged := self._damaged(message)) is not None:
                self._schedule.at(arrival.at_us, self._damaged_arrives, node, damaged)
        return ev.DriveSent(node.id, drive.sequence, now)

    def _damaged_arrives(self, node: Node, message: object) -> None:
        if node.alive:
            is_taken = self._forged(node, message)
            if self._observer is not None:
                self._observer.forged(node.id, "a damaged drive", taken=is_taken)
            node.touched()

    def _drive_arrives(self, link: Link, drive: Drive, message: object) -> None:
        node, observer = link.node, self._observer
        if observer is not None:
            observer.carried(node.id, "forward", message)
        if not node.alive:
            return
        answer = self._take(node, message)
        status = None if answer is None else self._status(answer)
        if observer is not None:
            observer.drove(node.id, link.laptop.number, drive, status)
        node.touched()
        if answer is None:
            return
        if self._answers_at_once and not node.slow_us:
            self._send_reply(link, self._reply(node, answer, at_once=True))
        else:
            self._schedule.at(self._schedule.now + node.slow_us, self._late_reply, link, answer)

    def _late_reply(self, link: Link, answer: object) -> None:
        node = link.node
        if node.alive and node.boot == self._status(answer).boot:
            self._send_reply(link, self._reply(node, answer, at_once=False))

    def _send_reply(self, link: Link, message: object) -> None:
        for arrival in link.laptop.faulty_links[link.node.id].back(self._schedule.now):
            came = self._damaged(message) if arrival.damaged else message
            if came is not None:
                self._schedule.at(arrival.at_us, self._reply_arrives, link, came)

    def _reply_arrives(self, link: Link, message: object) -> None:
        if not link.laptop.awake:
            return
        if self._observer is not None:
            self._observer.carried(link.node.id, "back", message)
        replied = self._open(link, message)
        if replied is not None:
            link.laptop.handle(replied)

    # ---- from a joint -------------------------------------------------------------------------

    def poll(self, node: Node) -> None:
        """Bring a joint up to now, and send what it has to say."""
        self._say(node)
        node.touched()

    def lost(self, node: Node) -> None:
        """What ran on a joint's streams is gone, and only a missing answer will show it."""
        self._ends[node.id].streams.clear()
        for links in self._links:
            stream = links[node.id].stream
            if stream is not None:
                at_us = self._schedule.now + NO_ANSWER_US
                self._schedule.at(at_us, stream.down, "it answers no pings")

    def restarted(self, node: Node) -> None:
        """A joint restarted by itself: it closed its streams before, and says that it is there."""
        for stream in list(self._ends[node.id].streams.values()):
            stream.refuse()
        self.announce_joint(node)

    def is_back(self, node: Node) -> None:
        """A joint that lost its power is there again, knows no older stream and says so."""
        for links in self._links:
            stream = links[node.id].stream
            if stream is not None:
                links[node.id].back(stream.down, "its stream ended")

    # ---- announcements ------------------------------------------------------------------------

    def announce(self, laptop: Laptop) -> None:
        """A laptop that begins to listen hears of all joints."""
        laptop.handle(*[node.announcement() for node in self._nodes.values()])

    def announce_joint(self, node: Node) -> None:
        """A joint announces itself to all laptops."""
        for links in self._links:
            self._announce_to(links[node.id])

    def _asked(self, link: Link) -> None:
        if link.node.alive:
            self._announce_to(link)

    def _announce_to(self, link: Link) -> None:
        for arrival in link.laptop.faulty_links[link.node.id].back(self._schedule.now):
            self._schedule.at(arrival.at_us, link.laptop.handle, link.node.announcement())
