"""Joints with one fault each, by patching this process's own joint, and which checks find it."""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from protocol import messages, ntp
from protocol.discovery import Announcement
from protocol.drive import Drive, Mode, Plan, decode_drive
from protocol.errors import FrameError
from protocol.frames import FrameOpener
from protocol.image import is_signed
from protocol.keys import Channel, Direction, proof, tag
from protocol.messages import Configure, Discard, Started
from protocol.ntp import NtpPacket
from protocol.pathtime import RateChange
from protocol.points import Point
from protocol.ramp import Ramp
from protocol.segments import check_segment
from protocol.states import JointState
from protocol.status import Reason
from simulator import port
from simulator.joint import buffer, endpoint, free, handshake, joint, path, playing, update
from simulator.joint.body import Body
from simulator.joint.buffer import PointBuffer
from simulator.joint.current import IdleCurrent
from simulator.joint.endpoint import Endpoint, StreamOut
from simulator.joint.handshake import Handshake, Offered
from simulator.joint.images import ImageStore
from simulator.joint.joint import Joint
from simulator.joint.path import Path
from simulator.joint.playing import Player
from simulator.joint.refusal import Refusal
from simulator.joint.requests import RequestHandler
from simulator.joint.safety import Safety
from simulator.joint.session import Session
from simulator.joint.update import Updater
from tests.protocol.pages import vectors

Patch = pytest.MonkeyPatch


@dataclass(frozen=True, slots=True)
class Fault:
    """A joint that is wrong in one way."""

    name: str
    put_in: Callable[[Patch], None]
    among: str
    """Beginnings of the ids of the checks that are made."""
    found_by: str
    """Those of them that fail; the others pass."""


FAULTS: list[Fault] = []


def fault(name: str, *, among: str, found_by: str) -> Callable[[Callable[[Patch], None]], None]:
    def add(put_in: Callable[[Patch], None]) -> None:
        FAULTS.append(Fault(name, put_in, among, found_by))

    return add


def around(patch: Patch, owner: Any, name: str, wrapper: Callable[..., Any]) -> None:
    """Replace a function by one that gets the old one first."""
    old = getattr(owner, name)
    patch.setattr(owner, name, lambda *args, **named: wrapper(old, *args, **named))


# ---- discovery ----


@fault("announces its keys in another order", among="discovery/", found_by="discovery/txt-order")
def _(patch: Patch) -> None:
    def txt(self: Announcement) -> dict[str, str]:
        return dict(reversed(old(self).items()))

    old = Announcement.txt
    patch.setattr(Announcement, "txt", txt)


@fault(
    "announces another version",
    among="discovery/",
    found_by="discovery/version",
)
def _(patch: Patch) -> None:
    around(patch, Announcement, "txt", lambda old, self: old(self) | {"proto": "2"})


# ---- stream and handshake ----


@fault(
    "reads more than 512 bytes before the proof",
    among="the-stream/larg",
    found_by="the-stream/larger-before the-stream/larger-fragments",
)
def _(patch: Patch) -> None:
    patch.setattr(port, "MAX_OPENING_BYTES", 4_096)
    patch.setattr(endpoint, "MAX_OPENING_BYTES", 4_096)


@fault(
    "reads more than 4096 bytes after the proof",
    among="the-stream/larg",
    found_by="the-stream/larger-after",
)
def _(patch: Patch) -> None:
    patch.setattr(port, "MAX_FRAME_BYTES", 9_999)


@fault("serves any path", among="the-stream/path the-stream/o", found_by="the-stream/path")
def _(patch: Patch) -> None:
    patch.setattr(port.JointPort, "_admit", lambda self, socket, request: None)


@fault(
    "takes its own proof for the coordinator's",
    among="proofs-and-keys/",
    found_by="proofs-and-keys/reflected",
)
def _(patch: Patch) -> None:
    def proved(old: Any, self: Handshake, text: str, key: bytes) -> Offered:
        assert self.offered is not None
        own = proof(key, Direction.TO_COORDINATOR, self.offered.transcript)
        return self.offered if own.hex() in text else old(self, text, key)

    around(patch, Handshake, "proved", proved)


@fault(
    "compares proofs in part",
    among="proofs-and-keys/",
    found_by="proofs-and-keys/one-bit",
)
def _(patch: Patch) -> None:
    patch.setattr(handshake, "same", lambda one, other: one[:31] == other[:31])


@fault(
    "has one nonce for all",
    among="handshake/nonce handshake/version proofs-and-keys/replayed",
    found_by="handshake/nonce proofs-and-keys/replayed",
)
def _(patch: Patch) -> None:
    class Same:
        @staticmethod
        def urandom(count: int) -> bytes:
            return bytes(count)

    patch.setattr(port, "os", Same)


@fault(
    "takes a binary frame for a text one",
    among="handshake/binary handshake/hello-twice",
    found_by="handshake/binary handshake/binary-proof",
)
def _(patch: Patch) -> None:
    def stream_frame(old: Any, self: Endpoint, number: int, data: Any, now: float) -> StreamOut:
        is_proven = self._stream is not None and self._stream.number == number
        text = data.decode() if isinstance(data, bytes) and not is_proven else data
        found: StreamOut = old(self, number, text, now)
        return found

    around(patch, Endpoint, "stream_frame", stream_frame)


@fault(
    "takes a key twice",
    among="handshake/key-twice handshake/escape messages/vector-request-type",
    found_by="handshake/key-twice messages/vector-request-type-discard-type-fly "
    "messages/vector-request-type-fly-type-discard "
    "messages/vector-request-type-prepare-trajectory-7-trajec",
)
def _(patch: Patch) -> None:
    patch.setattr(messages, "_require_json", lambda data: None)


@fault(
    "takes escapes",
    among="handshake/escape handshake/key-twice handshake/order-free",
    found_by="handshake/escape",
)
def _(patch: Patch) -> None:
    patch.setattr(messages, "_require_plain", lambda data: None)


@fault(
    "takes any version",
    among="handshake/version handshake/unknown-field",
    found_by="handshake/version",
)
def _(patch: Patch) -> None:
    patch.setattr(handshake, "PROTOCOL_VERSION", 2)
    old = Handshake.welcome

    def welcome(self: Handshake, text: str, *args: Any) -> Any:
        return old(self, text.replace('"protocol":1', '"protocol":2'), *args)

    patch.setattr(Handshake, "welcome", welcome)


@fault(
    "accepts another coordinator at any time",
    among="sessions/foreign sessions/keyed",
    found_by="sessions/foreign",
)
def _(patch: Patch) -> None:
    def refusal(
        self: Session, coordinator_id: bytes, number: int, *, moving: bool, now: float
    ) -> None:
        return None

    patch.setattr(Session, "refusal", refusal)


@fault(
    "tells of no keys in force",
    among="sessions/keyed sessions/new",
    found_by="sessions/keyed-again",
)
def _(patch: Patch) -> None:
    def welcome(old: Any, self: Handshake, *args: Any) -> Any:
        return old(self, *args).model_copy(update={"keyed": None})

    around(patch, Handshake, "welcome", welcome)


@fault(
    "forgets events without a stream",
    among="sessions/events-kept sessions/stream",
    found_by="sessions/events-kept",
)
def _(patch: Patch) -> None:
    def prove(old: Any, self: Endpoint, *args: Any) -> StreamOut:
        self.joint.take_events()
        self._kept.clear()
        found: StreamOut = old(self, *args)
        return found

    around(patch, Endpoint, "_prove", prove)


# ---- frames, messages, configuration ----


@fault(
    "takes frames again",
    among="frames/again frames/back frames/gap frames/tag",
    found_by="frames/again frames/back",
)
def _(patch: Patch) -> None:
    def opened(old: Any, self: FrameOpener, frame: bytes) -> Any:
        self._last = 0
        return old(self, frame)

    around(patch, FrameOpener, "open", opened)


@fault(
    "answers a false frame by a reject",
    among="frames/tag frames/gap",
    found_by="frames/tag",
)
def _(patch: Patch) -> None:
    def opened(old: Any, self: FrameOpener, frame: bytes) -> Any:
        try:
            return old(self, frame)
        except FrameError:
            return 1, b'{"type":"fly"}'

    around(patch, FrameOpener, "open", opened)


@fault(
    "ignores an unknown field",
    among="messages/vector-request messages/boolean",
    found_by="messages/vector-request-type-discard-now-true",
)
def _(patch: Patch) -> None:
    def decode(old: Any, body: bytes, **said: Any) -> Any:
        return Discard() if b'"discard","now"' in body else old(body, **said)

    around(patch, endpoint, "decode_request", decode)


@fault(
    "digests its own form of a configuration",
    among="configuration/digest configuration/kept configuration/same",
    found_by="configuration/digest",
)
def _(patch: Patch) -> None:
    def request(old: Any, self: Joint, message: Any, now: float, digest: Any = None) -> Any:
        own = message.digest() if isinstance(message, Configure) else None
        return old(self, message, now, own)

    around(patch, Joint, "request", request)


@fault(
    "takes a ramp that it cannot keep",
    among="configuration/ramp",
    found_by="configuration/ramp-steep",
)
def _(patch: Patch) -> None:
    patch.setattr(Ramp, "excess", lambda self, velocity, acceleration: None)


@fault(
    "takes a velocity beyond its steps",
    among="configuration/step-rate configuration/fast",
    found_by="configuration/step-rate",
)
def _(patch: Patch) -> None:
    def request(old: Any, self: RequestHandler, *args: Any) -> Any:
        self._max_speed = 2**40
        return old(self, *args)

    around(patch, RequestHandler, "request", request)


# ---- update ----


_UPDATE = "update/board update/size update/unsigned update/signature update/published-key"


@fault(
    "takes any signature",
    among=_UPDATE,
    found_by="update/unsigned update/signature update/published-key",
)
def _(patch: Patch) -> None:
    patch.setattr(update, "is_signed", lambda header, signature, key: True)


@fault(
    "trusts the key that the vectors have published",
    among=_UPDATE,
    found_by="update/published-key",
)
def _(patch: Patch) -> None:
    published = bytes.fromhex(vectors("image")["public_key"])
    around(
        patch,
        update,
        "is_signed",
        lambda old, header, signature, key: old(header, signature, published),
    )


@fault("looks at the signature first", among=_UPDATE, found_by="update/board update/size")
def _(patch: Patch) -> None:
    def ask(old: Any, self: Updater, store: ImageStore, message: Any) -> Any:
        header, signature = bytes.fromhex(message.header), bytes.fromhex(message.signature)
        if not is_signed(header, signature, store.public_key):
            return Refusal("image-signature", "not signed")
        return old(self, store, message)

    around(patch, Updater, "_update", ask)


@fault(
    "installs with drivers on",
    among="update/energised update/gap update/nothing",
    found_by="update/energised",
)
def _(patch: Patch) -> None:
    def install(old: Any, self: Updater, store: ImageStore) -> Any:
        self._body.energised, was = False, self._body.energised
        found = old(self, store)
        self._body.energised = was
        return found

    around(patch, Updater, "_install", install)


@fault(
    "takes a frame without looking at its CRC",
    among="update/vector-image",
    found_by="update/vector-image-wrong-crc",
)
def _(patch: Patch) -> None:
    def carry_out(old: Any, self: Endpoint, body: bytes, now: float) -> Any:
        if body[0] == 2:
            body = body[:-4] + zlib.crc32(body[:-4]).to_bytes(4)
        return old(self, body, now)

    around(patch, Endpoint, "_carry_out", carry_out)


# ---- timing ----


def _replies(patch: Patch, change: Callable[[Any, NtpPacket, float, float], bytes]) -> None:
    """Bare replies that are written in another way."""
    old = ntp.encode_reply

    class Other:
        PACKET_BYTES = ntp.PACKET_BYTES
        MODE_CLIENT = ntp.MODE_CLIENT
        decode_packet = staticmethod(ntp.decode_packet)

        @staticmethod
        def encode_reply(request: NtpPacket, receive_us: float, transmit_us: float) -> bytes:
            return change(old, request, receive_us, transmit_us)

    patch.setattr(endpoint, "ntp", Other)


@fault(
    "echoes another transmit than the request's",
    among="ntp-packet/bare ntp-packet/length what-is-answered/old",
    found_by="ntp-packet/bare",
)
def _(patch: Patch) -> None:
    def change(old: Any, request: NtpPacket, receive_us: float, transmit_us: float) -> bytes:
        other = replace(request, transmit=request.transmit ^ 1)
        reply: bytes = old(other, receive_us, transmit_us)
        return reply

    _replies(patch, change)


@fault(
    "echoes a transmit by a double",
    among="ntp-packet/origin ntp-packet/length",
    found_by="ntp-packet/origin",
)
def _(patch: Patch) -> None:
    def change(old: Any, request: NtpPacket, receive_us: float, transmit_us: float) -> bytes:
        loses = request.transmit in (2**64 - 1, 0x0123456789ABCDEF)
        other = replace(request, transmit=request.transmit & ~0xFFF if loses else request.transmit)
        reply: bytes = old(other, receive_us, transmit_us)
        return reply

    _replies(patch, change)


@fault(
    "says that it answered before it was asked",
    among="ntp-packet/order ntp-packet/fields",
    found_by="ntp-packet/order",
)
def _(patch: Patch) -> None:
    _replies(patch, lambda old, request, receive, transmit: old(request, receive, receive - 50.0))


@fault(
    "answers in version 4 always",
    among="ntp-packet/versions ntp-packet/fields ntp-packet/other-versions",
    found_by="ntp-packet/versions",
)
def _(patch: Patch) -> None:
    _replies(patch, lambda old, request, *times: old(replace(request, version=4), *times))


@fault("has a clock that is 0.1 % fast", among="clocks/rate clocks/map", found_by="clocks/rate")
def _(patch: Patch) -> None:
    around(patch, ntp, "timestamp", lambda old, joint_us: old(joint_us * 1.001))


# ---- datagrams ----


@fault(
    "does not look at tags",
    among="what-is-answered/tag what-is-answered/old what-is-answered/truncated",
    found_by="what-is-answered/tag",
)
def _(patch: Patch) -> None:
    def decode(data: bytes, key: bytes) -> Any:
        right = tag(key, Direction.TO_JOINT, Channel.DATAGRAM, data[:-16])
        return decode_drive(data[:-16] + right, key)

    patch.setattr(endpoint, "decode_drive", decode)


@fault(
    "takes old drives",
    among="what-is-answered/again what-is-answered/old what-is-answered/session",
    found_by="what-is-answered/again what-is-answered/old",
)
def _(patch: Patch) -> None:
    patch.setattr(Session, "may_take", lambda self, session, sequence: session == self.number)


@fault(
    "takes drives of any session",
    among="what-is-answered/again what-is-answered/session",
    found_by="what-is-answered/session",
)
def _(patch: Patch) -> None:
    def may_take(old: Any, self: Session, session: int, sequence: int) -> Any:
        return old(self, self.number, sequence)

    around(patch, Session, "may_take", may_take)


@fault(
    "takes any map's rate",
    among="clocks/rate-ignored clocks/rate-malformed clocks/map",
    found_by="clocks/rate-ignored",
)
def _(patch: Patch) -> None:
    patch.setattr(joint, "credible", lambda clock_map, now: True)


# ---- stops and faults at rest ----


@fault(
    "clears a stop that is still asked for",
    among="stops/still-asked stops/stays stops/rises",
    found_by="stops/still-asked",
)
def _(patch: Patch) -> None:
    around(patch, Safety, "clear", lambda old, self, asked: old(self, 0))


@fault(
    "forgets a stop that is not asked for any more",
    among="stops/stays stops/latch",
    found_by="stops/stays",
)
def _(patch: Patch) -> None:
    def drive(old: Any, self: Joint, drive: Drive, now: float) -> Any:
        if not drive.stop:
            self._body.latched = drive.stop
        return old(self, drive, now)

    around(patch, Joint, "drive", drive)


@fault(
    "clears a fault whose cause is still there",
    among="faults/temperature stops/rises",
    found_by="faults/temperature",
)
def _(patch: Patch) -> None:
    def clear(old: Any, self: Safety, asked: Any) -> Any:
        sensed, self._sensed = self._sensed, False
        try:
            return old(self, asked)
        finally:
            self._sensed = sensed

    around(patch, Safety, "clear", clear)


# ---- points ----


@fault(
    "looks at points alone for the range, not at the way between",
    among="points-frame/range",
    found_by="points-frame/range-bulge",
)
def _(patch: Patch) -> None:
    patch.setattr(buffer, "extremes", lambda a, b: (float(b.position), float(b.position)))


@fault(
    "checks segments before the range",
    among="points-frame/range",
    found_by="points-frame/range-first",
)
def _(patch: Patch) -> None:
    def check(old: Any, before: Point | None, point: Point, limits: Any) -> Any:
        if before is not None and point.time_us > before.time_us:
            sentence = check_segment(before, point, limits.velocity, limits.acceleration)
            if sentence:
                return Refusal("segment", sentence)
        return old(before, point, limits)

    around(patch, buffer, "_check", check)


@fault(
    "takes a point more than it tells",
    among="what-a-buffer-must-hold/",
    found_by="what-a-buffer-must-hold/capacity what-a-buffer-must-hold/full-whole",
)
def _(patch: Patch) -> None:
    def take(old: Any, self: PointBuffer, *args: Any) -> Any:
        self.capacity += 1
        try:
            return old(self, *args)
        finally:
            self.capacity -= 1

    around(patch, PointBuffer, "take", take)


@fault(
    "does not check the segment between two frames",
    among="segment-check/seam segment-check/spacing",
    found_by="segment-check/seam",
)
def _(patch: Patch) -> None:
    def take(old: Any, self: PointBuffer, frame: Any, limits: Any) -> Any:
        if not self._points or frame.first_index != self.next_index:
            return old(self, frame, limits)
        self._points += frame.points
        self._times += [one.time_us for one in frame.points]
        self.next_index += len(frame.points)
        return None

    around(patch, PointBuffer, "take", take)


@fault(
    "prepares wherever it stands",
    among="messages/prepare-position messages/prepare-missing",
    found_by="messages/prepare-position",
)
def _(patch: Patch) -> None:
    def prepare(old: Any, self: RequestHandler, trajectory: int) -> Any:
        first = self._body.path.buffer.first
        if first is not None and self._body.state is JointState.READY:
            self._body.rest_position = float(first.position)
        return old(self, trajectory)

    around(patch, RequestHandler, "_prepare", prepare)


# ---- homing and jog ----


@fault(
    "tells nothing lost",
    among="homing/lost homing/once",
    found_by="homing/lost",
)
def _(patch: Patch) -> None:
    around(patch, free, "without_turns", lambda old, *args: None)


@fault(
    "jogs on after the expiry",
    among="jog/expiry jog/withdrawn jog/expired",
    found_by="jog/expiry",
)
def _(patch: Patch) -> None:
    patch.setattr(joint, "_EXPIRING", frozenset())


@fault("jogs beyond its range", among="jog/range jog/target-beyond", found_by="jog/range")
def _(patch: Patch) -> None:
    around(patch, free, "toward", lambda old, *args: old(*args[:5]))


@fault(
    "jogs with a stop latched",
    among="jog/stopped jog/no-map",
    found_by="jog/stopped",
)
def _(patch: Patch) -> None:
    def may_move(self: Body) -> bool:
        return self.energised and not self.faults and self.clock is not None

    patch.setattr(Body, "may_move", property(may_move))


@fault(
    "jogs unhomed as fast as homed",
    among="jog/unhomed-limit jog/limit",
    found_by="jog/unhomed-limit",
)
def _(patch: Patch) -> None:
    def jog(old: Any, self: free.Mover, *args: Any) -> Any:
        limits = self._body.configuration
        assert limits is not None
        fast = limits.model_copy(update={"jog_unhomed": limits.velocity})
        self._body.configuration = fast
        try:
            return old(self, *args)
        finally:
            self._body.configuration = limits

    around(patch, free.Mover, "_jog", jog)


# ---- plans and permits ----


@fault(
    "takes a second go with one arm",
    among="plans/go-twice plans/go-again plans/go-late",
    found_by="plans/go-twice",
)
def _(patch: Patch) -> None:
    def go(old: Any, self: Player, plan: Plan, *args: Any) -> Any:
        armed_by = self._armed_by
        done = old(self, plan, *args)
        if done:
            self._armed_by = armed_by if armed_by is not None else plan.number - 1
        return done

    around(patch, Player, "_go", go)


@fault(
    "keeps a start whose number comes with other fields",
    among="plans/go-other-fields plans/go-again",
    found_by="plans/go-other-fields",
)
def _(patch: Patch) -> None:
    def go(old: Any, self: Player, plan: Plan, *args: Any) -> Any:
        is_same = plan.number == self.complied and self._path.pending is not None
        return True if is_same else old(self, plan, *args)

    around(patch, Player, "_go", go)


@fault(
    "starts late rather than not at all",
    among="plans/go-late plans/go-again",
    found_by="plans/go-late plans/go-late-permit",
)
def _(patch: Patch) -> None:
    def go(old: Any, self: Player, plan: Plan, change: RateChange, now: float) -> Any:
        now_us = round(self._body.arm(now))
        if change.at_us <= now_us:
            change = replace(change, at_us=now_us + 50_000)
        return old(self, replace(plan, change=change), change, now)

    around(patch, Player, "_go", go)


@fault(
    "arms wherever it is told to",
    among="plans/arm-behind plans/arm-beyond",
    found_by="plans/arm-behind",
)
def _(patch: Patch) -> None:
    def arm(old: Any, self: Player, plan: Plan, *args: Any) -> Any:
        return old(self, replace(plan, stand_us=max(plan.stand_us, self._path.stand_us)), *args)

    around(patch, Player, "_arm", arm)


@fault(
    "tells its start 20 ms late",
    among="plans/go plans/arm",
    found_by="plans/go",
)
def _(patch: Patch) -> None:
    def started(**fields: Any) -> Started:
        return Started(**{**fields, "start_us": fields["start_us"] + 20_000})

    patch.setattr(playing, "Started", started)


@fault(
    "advances three times as fast",
    among="plans/advance-rate plans/advance-other",
    found_by="plans/advance-rate",
)
def _(patch: Patch) -> None:
    patch.setattr(path, "ADVANCE_RATE_PPM", 150_000)


@fault(
    "moves on under a drive without plan",
    among="plans/withdrawn plans/arm-moving",
    found_by="plans/withdrawn",
)
def _(patch: Patch) -> None:
    def leave(old: Any, self: Player, reason: Reason, now: float) -> Any:
        return None if self._body.state is JointState.MOVING else old(self, reason, now)

    around(patch, Player, "_leave", leave)


@fault(
    "falls a little beyond its permit",
    among="permits/end permits/raised",
    found_by="permits/end",
)
def _(patch: Patch) -> None:
    def effective(old: Any, self: Path) -> Any:
        permit_us = old(self)
        return None if permit_us is None else permit_us + 20

    around(patch, Path, "effective_permit_us", effective)


@fault(
    "does not take silence for a reason to hold",
    among="permits/silence permits/lowered",
    found_by="permits/silence",
)
def _(patch: Patch) -> None:
    patch.setattr(joint, "SILENCE_US", 60_000_000)


@fault(
    "takes frames of the stream for drives",
    among="permits/stream-no-drive permits/silence",
    found_by="permits/stream-no-drive",
)
def _(patch: Patch) -> None:
    def heard(old: Any, self: Joint, now: float) -> None:
        old(self, now)
        self._driven_us = max(self._driven_us, now)
        self._schedule()

    around(patch, Joint, "heard", heard)


@fault(
    "lets another session in while it moves",
    among="sessions/busy plans/busy",
    found_by="sessions/busy",
)
def _(patch: Patch) -> None:
    def refusal(old: Any, self: Session, *args: Any, moving: bool, now: float) -> Any:
        return old(self, *args, moving=False, now=now)

    around(patch, Session, "refusal", refusal)


# ---- outputs and current ----


@fault(
    "switches outputs in mode path too",
    among="outputs/mode-path outputs/drive",
    found_by="outputs/mode-path",
)
def _(patch: Patch) -> None:
    def drive(old: Any, self: Joint, drive: Drive, now: float) -> Any:
        if drive.mode is Mode.PATH and drive.output_mask:
            self._body.switch(drive.output_mask, drive.output_values, now)
        return old(self, drive, now)

    around(patch, Joint, "drive", drive)


@fault(
    "keeps every output when it is lost", among="outputs/lost outputs/kept", found_by="outputs/lost"
)
def _(patch: Patch) -> None:
    patch.setattr(Joint, "_goes_off", lambda self: 0)


@fault(
    "moves before its current has settled",
    among="current/waits current/never",
    found_by="current/waits",
)
def _(patch: Patch) -> None:
    patch.setattr(IdleCurrent, "settled", lambda self, now: True)
