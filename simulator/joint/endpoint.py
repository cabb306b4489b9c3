"""A joint at the level of bytes: the handshake, tags, frame numbers, replies (design section 3).

Noise of any kind costs an answer at most: no method raises for what a peer sent. Randomness comes
in: each stream brings the nonce that the joint is to use on it.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

from protocol import ntp
from protocol.constants import MAX_OPENING_BYTES
from protocol.drive import REQUEST_BYTES, decode_drive
from protocol.errors import DatagramError, FrameError, HandshakeError
from protocol.frames import FrameOpener, FrameSealer
from protocol.image import IMAGE_FRAME, decode_image_frame
from protocol.keys import Channel, Direction, Transcript, fingerprint, session_key
from protocol.messages import Ack, decode_request, encode
from protocol.points import POINTS_FRAME, decode_points
from protocol.status import Status, encode_status
from simulator.joint.body import AnyEvent
from simulator.joint.handshake import Handshake, Offered, key_nonce
from simulator.joint.joint import Joint
from simulator.joint.refusal import Refusal

KEPT_EVENTS: Final = 16
"""Events kept while no stream is there to take them; the oldest go first."""
MAX_UNPROVEN: Final = 2
"""Streams that have proved nothing, beside the one that has: small controllers have few sockets."""
DISCARD_PORT: Final = 9
"""For datagrams, where there are no sockets (RFC 863)."""


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to a datagram, lacking only the time of its sending."""

    request: ntp.NtpPacket
    receive_us: float
    """Joint time."""
    status: Status | None
    """None for a bare NTP reply."""
    key: bytes

    def encode(self, transmit_us: float) -> bytes:
        """The datagram, with T3 in joint time as late as the shell can take it."""
        if self.status is None:
            return ntp.encode_reply(self.request, self.receive_us, transmit_us)
        return encode_status(self.status, self.request, self.receive_us, transmit_us, self.key)


@dataclass(frozen=True, slots=True)
class StreamOut:
    """What the shell must do: frames in order (text as str, binary as bytes), then closings."""

    frames: tuple[tuple[int, str | bytes], ...] = ()
    close: tuple[int, ...] = ()
    going: tuple[int, ...] = ()
    """Closed too, with 1001: the joint restarts."""


@dataclass(slots=True)
class _Stream:
    """The one stream that has proved to know the arm's key."""

    number: int
    opener: FrameOpener
    sealer: FrameSealer


class Endpoint:
    """The bytes of one joint. `key` is the arm's, 32 bytes; `udp_port` what a welcome tells."""

    def __init__(self, joint: Joint, key: bytes, udp_port: int = DISCARD_PORT) -> None:
        self.joint = joint
        self.udp_port = udp_port
        self._key = key
        self._handshakes: dict[int, Handshake] = {}
        self._stream: _Stream | None = None
        self._keyed: Transcript | None = None
        self._drive_key = self._status_key = b""
        self._kept: deque[AnyEvent] = deque(maxlen=KEPT_EVENTS)

    # Datagrams

    def datagram(self, data: bytes, receive_us: float) -> Reply | None:
        """The reply to a datagram, None when it deserves none. Times are joint time."""
        try:
            if len(data) == ntp.PACKET_BYTES:
                packet = ntp.decode_packet(data)
                bare = packet.mode == ntp.MODE_CLIENT
                return Reply(packet, receive_us, None, b"") if bare else None
            if self._keyed is None or len(data) != REQUEST_BYTES:
                return None
            packet, drive = decode_drive(data, self._drive_key)
        except DatagramError:
            return None
        status = self.joint.drive(drive, receive_us)
        return None if status is None else Reply(packet, receive_us, status, self._status_key)

    # Streams

    def stream_opened(
        self, stream_id: int, now: float, nonce: bytes, address: str = ""
    ) -> StreamOut:
        """A peer at an address connected; `nonce` is 32 fresh random bytes.

        Of too many that have proved nothing one must go: the oldest from the same address, else the
        oldest. So whoever holds connections open, or opens them again and again from one address,
        pushes out himself and nobody else.
        """
        close: tuple[int, ...] = ()
        if len(self._handshakes) >= MAX_UNPROVEN:
            own = [k for k, shake in self._handshakes.items() if shake.address == address]
            oldest = next(iter(own or self._handshakes))
            del self._handshakes[oldest]
            close = (oldest,)
        self._handshakes[stream_id] = Handshake(nonce, now, address)
        return StreamOut(close=close)

    def stream_frame(self, stream_id: int, data: str | bytes, now: float) -> StreamOut:
        """A frame came: text in the handshake, binary after it."""
        if self.joint.restarts:
            return StreamOut()
        if self._stream is not None and stream_id == self._stream.number:
            return self._tagged(self._stream, data, now)
        handshake = self._handshakes.get(stream_id)
        if handshake is None:
            return StreamOut(close=(stream_id,))
        if handshake.deadline_us <= now:
            return self._late(stream_id)
        if isinstance(data, bytes):
            refusal = Refusal("handshake-order", "a binary frame came before the proof")
            return self._turn_away(stream_id, refusal)
        if len(data.encode()) > MAX_OPENING_BYTES:
            del self._handshakes[stream_id]
            return StreamOut(close=(stream_id,))
        try:
            if handshake.offered is None:
                welcome = handshake.welcome(data, self.joint, self._key, self._keyed, self.udp_port)
                return StreamOut(((stream_id, encode(welcome).decode()),))
            return self._prove(stream_id, handshake.proved(data, self._key), now)
        except (HandshakeError, FrameError) as error:
            return self._turn_away(stream_id, Refusal(error.code, error.message))

    def stream_closed(self, stream_id: int, now: float) -> None:
        """A stream is gone. The session goes on: its datagrams need no stream."""
        self.joint.poll(now)
        self._handshakes.pop(stream_id, None)
        if self._stream is not None and self._stream.number == stream_id:
            self._keep()
            self._stream = None

    def outgoing(self) -> list[tuple[int, bytes]]:
        """Frames with what happened since the last call, for the stream that proved itself."""
        self._keep()
        if self._stream is None:
            return []
        number, sealer = self._stream.number, self._stream.sealer
        frames = [(number, sealer.seal(encode(event))[1]) for event in self._kept]
        self._kept.clear()
        return frames

    @property
    def streams(self) -> tuple[int, ...]:
        """All that are open, proven or not."""
        proven = () if self._stream is None else (self._stream.number,)
        return (*proven, *self._handshakes)

    def next_deadline(self) -> float | None:
        """Joint time at which `poll` has something to do, None for never."""
        if not self._handshakes:
            return self.joint.next_deadline()
        due = [handshake.deadline_us for handshake in self._handshakes.values()]
        joint_due = self.joint.next_deadline()
        found = min([*due, math.inf if joint_due is None else joint_due])
        return None if math.isinf(found) else found

    def poll(self, now: float) -> StreamOut:
        """Let happen what is due; streams that have not proved anything in time are closed."""
        self.joint.poll(now)
        late = [k for k, shake in self._handshakes.items() if shake.deadline_us <= now]
        frames: list[tuple[int, str | bytes]] = []
        for stream_id in late:
            frames += self._late(stream_id).frames
        return StreamOut(tuple(frames), tuple(late))

    def _late(self, stream_id: int) -> StreamOut:
        return self._turn_away(stream_id, Refusal("handshake-timeout", "no proof came within 5 s"))

    def _turn_away(self, stream_id: int, refusal: Refusal) -> StreamOut:
        self._handshakes.pop(stream_id, None)
        return StreamOut(((stream_id, encode(refusal.reject(0)).decode()),), (stream_id,))

    def _prove(self, stream_id: int, offered: Offered, now: float) -> StreamOut:
        """Begin or continue the session that a proven peer asked for."""
        transcript = offered.transcript
        session, coordinator_id = transcript.session, transcript.coordinator_id
        refusal = self.joint.session_refusal(coordinator_id, session, now)
        if refusal is not None:
            return self._turn_away(stream_id, refusal)
        if offered.keyed != key_nonce(self._keyed, transcript):
            refusal = Refusal("handshake-order", "another handshake was finished since this hello")
            return self._turn_away(stream_id, refusal)
        self._keep()
        if self.joint.begin_session(coordinator_id, session, now):
            self._kept.clear()
            self._keyed = transcript
            self._drive_key, self._status_key = (
                session_key(self._key, transcript, Channel.DATAGRAM, direction)
                for direction in (Direction.TO_JOINT, Direction.TO_COORDINATOR)
            )
        self.joint.heard(now)
        replaced = (self._stream.number,) if self._stream is not None else ()
        del self._handshakes[stream_id]
        to_joint, to_coordinator = (
            session_key(self._key, transcript, Channel.STREAM, direction)
            for direction in (Direction.TO_JOINT, Direction.TO_COORDINATOR)
        )
        self._stream = _Stream(
            stream_id,
            FrameOpener(to_joint, Direction.TO_JOINT),
            FrameSealer(to_coordinator, Direction.TO_COORDINATOR),
        )
        ack = self._stream.sealer.seal(encode(Ack(ref=0)))[1]
        return StreamOut(((stream_id, ack), *self.outgoing()), replaced)

    def _tagged(self, stream: _Stream, data: str | bytes, now: float) -> StreamOut:
        """A frame after the handshake: answered by ack or reject; a false one ends the stream."""
        try:
            if isinstance(data, str):
                raise FrameError("frame-type", "a text frame after the handshake")
            number, body = stream.opener.open(data)
        except FrameError:
            self.stream_closed(stream.number, now)
            return StreamOut(close=(stream.number,))
        self.joint.heard(now)
        refusal = self._carry_out(body, now)
        answer = Ack(ref=number) if refusal is None else refusal.reject(number)
        sealed = stream.sealer.seal(encode(answer))[1]
        return StreamOut(((stream.number, sealed), *self.outgoing()))

    def _carry_out(self, body: bytes, now: float) -> Refusal | None:
        takes_images = self.joint.images is not None
        try:
            if body[0] == POINTS_FRAME:
                return self.joint.points(decode_points(body), now)
            if body[0] == IMAGE_FRAME and takes_images:
                return self.joint.image_frame(decode_image_frame(body), now)
            message = decode_request(body, takes_images=takes_images)
            return self.joint.request(message, now, fingerprint(body))
        except FrameError as error:
            return Refusal(error.code, error.message)

    def _keep(self) -> None:
        self._kept.extend(self.joint.take_events())
