"""A stream of values: what a joint's endpoint does with bytes, by the same rules without them."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import partial
from typing import Final

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.stream import Link, Stream
from protocol.errors import HandshakeError
from protocol.image import ImageFrame
from protocol.messages import Ack, Capabilities, Reject, Report, Welcome
from protocol.points import PointsFrame
from simulator.joint.body import AnyEvent
from simulator.joint.endpoint import DISCARD_PORT, KEPT_EVENTS
from simulator.joint.joint import Joint
from simulator.joint.refusal import Refusal

NO_PROOF: Final = "0" * 64
"""Values need no proofs; the bytes that carry them do."""


class Opening(Enum):
    """Frames of a handshake, which says nothing where nothing is proved; a welcome ends it."""

    HELLO = "hello"
    HEARD = "heard"
    PROOF = "proof"


@dataclass(slots=True, eq=False)
class Asked:
    """What a joint is asked for, by the number of its frame."""

    number: int
    content: ev.Content


@dataclass(slots=True, eq=False)
class Told:
    """A joint's stream that proved itself, and events that wait for one."""

    stream: Stream | None = None
    kept: deque[AnyEvent] = field(default_factory=lambda: deque(maxlen=KEPT_EVENTS))

    def say(self, events: Sequence[AnyEvent]) -> None:
        """What happened in the joint goes to the stream, or waits for one."""
        self.kept.extend(events)
        if self.stream is not None:
            for event in self.kept:
                self.stream.answer(event)
            self.kept.clear()


class ValueStream(Stream):
    """One stream of values."""

    def __init__(self, link: Link, session: int, address: ev.StreamAddress, told: Told) -> None:
        super().__init__(link, session, address)
        self._told = told
        self._sent = 0

    # ---- the joint's end ----------------------------------------------------------------------

    def _greet(self, hello: object) -> None:
        self.answer(Opening.HEARD)  # and nothing happens in the joint before the proof

    def _take(self, frame: object) -> None:
        if isinstance(frame, Asked):
            unit, now = self.link.node.unit, self.link.schedule.now
            refusal = unit.by_value(now, partial(_carry_out, frame.content))
            self.answer(Ack(ref=frame.number) if refusal is None else refusal.reject(frame.number))
            self._told.say(unit.joint.take_events())
        else:
            self._prove()

    def _prove(self) -> None:
        node, now = self.link.node, self.link.schedule.now
        asked = self.link.laptop.identity, self.session
        refusal = node.unit.by_value(now, partial(_session_refusal, *asked))
        if refusal is not None:
            self.answer(refusal.reject(0))
            return
        is_new = node.unit.by_value(now, partial(_begin_session, *asked))
        older, self._told.stream = self._told.stream, self
        if older is not None and older.link is not self.link:
            older.refuse()
        if is_new:
            self._told.kept.clear()
        self.answer(_welcome(node, is_new=is_new))
        self._told.say(node.unit.joint.take_events())

    def _close(self) -> None:
        if self._told.stream is self:
            self._told.stream = None

    # ---- the laptop's end ---------------------------------------------------------------------

    def _hello(self) -> Opening:
        return Opening.HELLO

    def _seal(self, content: ev.Content) -> tuple[int, Asked]:
        self._sent += 1
        return self._sent, Asked(self._sent, content)

    def _read(self, frame: object) -> None:
        if frame is Opening.HEARD:
            self.link.forward(self._arrives, Opening.PROOF)
        elif isinstance(frame, Welcome):
            self.up(frame)
        elif self.is_up:
            assert isinstance(frame, Report)
            self.link.laptop.handle(ev.Reported(self.link.node.id, frame))
        else:
            assert isinstance(frame, Reject)
            raise HandshakeError(frame.code, frame.message)


def _welcome(node: Node, *, is_new: bool) -> Welcome:
    joint, images = node.unit.joint, node.unit.images
    trajectory, next_index = joint.loaded
    return Welcome(
        id=node.id,
        firmware=joint.identity.firmware,
        boot=node.boot,
        nonce=NO_PROOF,
        proof=NO_PROOF,
        udp=DISCARD_PORT,
        capabilities=Capabilities(
            point_capacity=joint.point_capacity,
            max_step_rate_hz=joint.max_step_rate_hz,
            inputs=joint.input_count,
            outputs=joint.output_count,
            idle_current=joint.reduces_current,
            board=images.board if images is not None else None,
            image_capacity=images.capacity if images is not None else 0,
        ),
        configuration=joint.configuration_digest,
        keyed=None if is_new else NO_PROOF,
        trajectory=trajectory,
        next_index=next_index,
        image=images.running_sha256 if images is not None else None,
        on_trial=images is not None and images.on_trial,
    )


def _carry_out(content: ev.Content, joint: Joint, now: float) -> Refusal | None:
    if isinstance(content, PointsFrame):
        return joint.points(content, now)
    if isinstance(content, ImageFrame):
        return joint.image_frame(content, now)
    return joint.request(content, now)


def _session_refusal(identity: bytes, session: int, joint: Joint, now: float) -> Refusal | None:
    return joint.session_refusal(identity, session, now)


def _begin_session(identity: bytes, session: int, joint: Joint, now: float) -> bool:
    return joint.begin_session(identity, session, now)
