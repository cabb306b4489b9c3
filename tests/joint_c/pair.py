"""Two joints that are told the same: one in Python, one in C. What comes out of them is compared.

The Python joint is the reference. Where the page permits an error, so does this: instants and path
times may differ by 2 µs, positions by a count, or by what the joint passes in 2 µs.
"""

import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from protocol.constants import PATH_TOLERANCE_US
from protocol.drive import Drive, encode_drive
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import Channel, Direction, Transcript, proof, session_key
from protocol.messages import Hello, Proof, encode
from protocol.ntp import decode_packet
from protocol.states import JointState
from protocol.status import Fault, Status, decode_status
from simulator.joint.endpoint import Endpoint, StreamOut
from simulator.joint.images import ImageStore
from simulator.joint.joint import Joint, JointIdentity
from tests.joint_c.lines import Lines

KEY = bytes(range(0x40, 0x60))
ID = "0a1b2c3d4e5f"
BOOT = 12648430
BOOTED_US = 1_000_000
"""Joint time at which anything happens first."""
UDP = 49152
SENT_LATE_US = 17
COUNTS_APART = 6
"""1, and at 60 °/s what is passed in 2 µs: the joints may rest so far apart on a path."""
NEARLY_AT_REST_US = 1_000
"""By which instants may differ at which a path time is reached where a fall ends: so slow is it."""
_TIMES = frozenset(
    {
        "at_us",
        "path_us",
        "ramp_began_us",
        "permission_us",
        "start_us",
        "permit_us",
        "remainder_us",
    }
)
_COUNTS = frozenset({"position", "middle", "shift", "lost"})


class Differs(Exception):
    """The two joints did not do the same."""


class Keys:
    """What a coordinator keeps of a handshake."""

    def __init__(self, transcript: Transcript) -> None:
        def key(channel: Channel, direction: Direction) -> bytes:
            return session_key(KEY, transcript, channel, direction)

        self.transcript = transcript
        self.sealer = FrameSealer(key(Channel.STREAM, Direction.TO_JOINT), Direction.TO_JOINT)
        self.openers = [
            FrameOpener(key(Channel.STREAM, Direction.TO_COORDINATOR), Direction.TO_COORDINATOR)
            for _ in range(2)
        ]
        self.drive = key(Channel.DATAGRAM, Direction.TO_JOINT)
        self.status = key(Channel.DATAGRAM, Direction.TO_COORDINATOR)


class Parted(Exception):
    """What the page permits to differ makes them do different things from here on."""


class Pair:
    """Both joints, at joint time `now` (whole µs). `program` is deploy/joint/tests/sequence.c."""

    def __init__(
        self,
        program: Path,
        now: int = BOOTED_US,
        capacity: int = 512,
        images: ImageStore | None = None,
    ) -> None:
        self.now = now
        self.boot = BOOT
        self._images = images
        self.log: list[str] = []
        """Every line that the joint in C was told."""
        self.status: Status | None = None
        """The last one, of the Python joint."""
        self.streams: dict[int, Keys | None] = {}
        """Streams that are open, with the keys of the one that is proven."""
        self._openers: dict[int, Keys] = {}
        self._nonces: dict[int, bytes] = {}
        self._capacity = capacity
        self._boot_python()
        self._program = Lines(program)
        self._answer: dict[str, Any] = self.tell(
            f"init {now} {KEY.hex()} {ID} {BOOT} 250000 2 2 1 1 {UDP} {capacity} "
            + ("-" if images is None else images.public_key.hex())
        )

    def _boot_python(self) -> None:
        running = None if self._images is None else self._images.running
        firmware = "1.4.0" if running is None else running.header.firmware
        identity = JointIdentity(ID, firmware, self.boot)
        self.joint = Joint(
            identity, point_capacity=self._capacity, inputs=2, outputs=2, images=self._images
        )
        self.endpoint = Endpoint(self.joint, KEY, UDP)

    def end(self) -> None:
        """End the program; anything that it left undefined on the way is an error."""
        if code := self._program.end():
            raise Differs(f"the joint in C ended with exit code {code}")

    # What may happen to both

    def later(self, us: int) -> None:
        """Time passes, but not to where one joint has a thing just before, the other just after."""
        self.now += us
        due_us = self.endpoint.next_deadline()
        while due_us is not None and 0 < abs(due_us - self.now) <= 2 * PATH_TOLERANCE_US:
            self.now += 5
            due_us = self.endpoint.next_deadline()

    def restart(self) -> None:
        """Both boot anew, at joint time 0, and run the firmware that is to run then."""
        if self._images is not None:
            self._images.restart()
        self.boot += 1
        self.now = BOOTED_US
        self.streams.clear()
        self._openers.clear()
        self._boot_python()
        self._do(f"restart {self.now} {self.boot}", StreamOut)

    def store(self, *, fails: bool) -> None:
        """From now on nothing of an image can be stored, or again."""
        if self._images is not None:
            self._images.fails = fails
            self._do(f"store {self.now} {not fails:d}", StreamOut)

    def poll(self) -> None:
        self._do(f"poll {self.now}", lambda: StreamOut())

    def open(self, stream: int, nonce: bytes, address: int) -> None:
        self.streams[stream] = None
        self._nonces[stream] = nonce
        self._do(
            f"open {self.now} {stream} {address}",
            lambda: self.endpoint.stream_opened(stream, self.now, nonce, str(address)),
        )

    def close(self, stream: int) -> None:
        def gone() -> StreamOut:
            self.endpoint.stream_closed(stream, self.now)
            return StreamOut()

        self._do(f"close {self.now} {stream}", gone)
        self.streams.pop(stream, None)

    def frame(self, stream: int, data: str | bytes) -> list[dict[str, Any]]:
        """A frame to both; gives what the Python joint sent on the stream."""
        nonce: bytes = self._nonces[stream]
        kind, raw = ("t", data.encode()) if isinstance(data, str) else ("b", data)
        return self._do(
            f"frame {self.now} {stream} {kind} {raw.hex() or '-'} {nonce.hex()}",
            lambda: self.endpoint.stream_frame(stream, data, self.now),
        ).get(stream, [])

    def handshake(self, stream: int, coordinator: bytes, session: int, nonce: bytes) -> bool:
        """Hello and proof on an open stream; whether it is proven then."""
        return self.hello(stream, coordinator, session, nonce) and self.prove(
            stream, self.transcript_of(stream, coordinator, session, nonce)
        )

    def hello(self, stream: int, coordinator: bytes, session: int, nonce: bytes) -> bool:
        """A hello on an open stream; whether it is welcome."""
        hello = Hello(
            protocol=1,
            coordinator=coordinator.hex(),
            session=session.to_bytes(8).hex(),
            nonce=nonce.hex(),
        )
        answers = self.frame(stream, encode(hello).decode())
        return bool(answers) and answers[0]["type"] == "welcome"

    def transcript_of(
        self, stream: int, coordinator: bytes, session: int, nonce: bytes
    ) -> Transcript:
        return Transcript(
            nonce, self._nonces[stream], coordinator, bytes.fromhex(ID), self.boot, session
        )

    def prove(self, stream: int, transcript: Transcript) -> bool:
        self._openers[stream] = Keys(transcript)
        message = Proof(proof=proof(KEY, Direction.TO_JOINT, transcript).hex())
        answers = self.frame(stream, encode(message).decode())
        proven = any(answer["type"] == "ack" for answer in answers)
        if proven:
            self.streams[stream] = self._openers[stream]
        return proven

    def request(self, stream: int, body: bytes) -> list[dict[str, Any]]:
        keys = self.streams[stream]
        assert keys is not None
        return self.frame(stream, keys.sealer.seal(body)[1])

    def drive(self, drive: Drive, keys: Keys) -> Status | None:
        return self.datagram(encode_drive(drive, drive.sequence * 7919 + 1, keys.drive), keys)

    def datagram(self, data: bytes, keys: Keys | None) -> Status | None:
        """A datagram to both; the status of the Python joint where there is one."""
        sent_us = self.now + SENT_LATE_US
        reply = None

        def receive() -> StreamOut:
            nonlocal reply
            reply = self.endpoint.datagram(data, float(self.now))
            return StreamOut()

        self._do(f"datagram {self.now} {data.hex() or '-'} {sent_us}", receive)
        raw = bytes.fromhex(self._answer["reply"])
        if (reply is None) != (raw == b""):
            raise Differs(f"a reply in one joint alone: Python {reply}, C {raw.hex()!r}")
        if reply is None:
            return None
        wanted = reply.encode(float(sent_us))
        if len(wanted) == 48 or keys is None:
            if wanted != raw:
                raise Differs(f"bare replies: {decode_packet(wanted)} and {decode_packet(raw)}")
            return None
        (one_packet, one), (other_packet, other) = (
            decode_status(data, keys.status) for data in (wanted, raw)
        )
        self._same("packet", one_packet, other_packet)
        for field in fields(Status):
            self._near(field.name, getattr(one, field.name), getattr(other, field.name))
        self.status = one
        return one

    def hall(self, level: bool) -> None:
        self._act(f"hall {self.now} {level:d}", lambda: self.joint.hall(level, self.now))

    def input(self, bits: int) -> None:
        self._act(f"input {self.now} {bits}", lambda: self.joint.input(3, bits, self.now))

    def sense(self, temperature_centi_c: int | None, supply_mv: int | None) -> None:
        def read(value: int | None) -> str:
            return "-" if value is None else str(value)

        self._act(
            f"sense {self.now} {read(temperature_centi_c)} {read(supply_mv)} 0",
            lambda: self.joint.sense(temperature_centi_c, supply_mv, self.now),
        )

    def driver_fault(self) -> None:
        """The driver reports a fault, and soon no more."""
        self._act(f"driver {self.now} 1", lambda: self.joint.fault(Fault.DRIVER, self.now))
        self._act(f"driver {self.now} 0", lambda: None)

    # How it is compared

    def _act(self, line: str, act: Callable[[], None]) -> None:
        def acted() -> StreamOut:
            act()
            return StreamOut()

        self._do(line, acted)

    def _do(self, line: str, act: Callable[[], StreamOut]) -> dict[int, list[dict[str, Any]]]:
        """One event to both, and what is to be the same then. Gives what the Python joint sent."""
        sent: list[tuple[int, str | bytes]] = []
        other_sent: list[tuple[int, str | bytes]] = []
        closed: set[int] = set()
        other_closed: set[int] = set()

        def both(line: str, act: Callable[[], StreamOut]) -> dict[str, Any]:
            for step in (self._python_polls, act, self._python_polls):
                did = step()
                sent.extend([*did.frames, *self.endpoint.outgoing()])
                closed.update(did.close)
            answer = self.tell(line)
            other_sent.extend(_sent(answer))
            other_closed.update(stream for stream, _ in answer["closed"])
            return answer

        answer = self._answer = both(line, act)
        while self._is_due(answer):
            # One joint may have it a little before now, the other a little after.
            self.now += 2 * PATH_TOLERANCE_US + 1
            answer = both(f"poll {self.now}", lambda: StreamOut())
        found, other = self._opened(0, sent), self._opened(1, other_sent)
        if found.keys() != other.keys():
            raise Differs(f"streams with answers: Python {found}, C {other}")
        for stream, messages in found.items():
            self._messages(messages, other[stream])
        self._same("closed", closed, other_closed)
        for stream in closed:
            self.streams.pop(stream, None)
        self._same("state", self.joint.state.word, answer["state"])
        self._same("restarts", self.joint.restarts, answer["restarts"])
        self._same("outputs", self.joint.outputs, answer["outputs"])
        position, velocity = self.joint.position(self.now)
        self._near("position", position, answer["position"])
        self._near("velocity", velocity, answer["velocity"])
        self._same("light", self.joint.light_is_on(self.now), answer["light"])
        if not answer["hashes"]:  # C hashes what is kept of an image piece by piece, Python at once
            self._deadlines(self.endpoint.next_deadline(), answer["deadline"])
        return found

    def _deadlines(self, due_us: float | None, other_due_us: float | None) -> None:
        if self.joint.state is JointState.ADVANCING:
            return  # Python looks up where the fall of an advance begins, C does not
        if due_us is not None and other_due_us is not None:
            apart_us = abs(due_us - other_due_us)
            if apart_us <= PATH_TOLERANCE_US:
                return
            if self.joint.state is JointState.RAMPING and apart_us < NEARLY_AT_REST_US:
                raise Parted
        if due_us != other_due_us:
            raise Differs(f"deadline: Python {due_us}, C {other_due_us}")

    def _python_polls(self) -> StreamOut:
        return self.endpoint.poll(self.now)

    def _is_due(self, answer: Mapping[str, Any]) -> bool:
        """Whether something is due so soon that it may have happened in one of the joints."""
        due = (self.endpoint.next_deadline(), answer["deadline"])
        return any(due_us is not None and due_us - self.now <= PATH_TOLERANCE_US for due_us in due)

    def tell(self, line: str) -> dict[str, Any]:
        """A line to the joint in C alone, and what it says."""
        self.log.append(line)
        said = self._program.line(line)
        if not said:
            raise Differs(f"the joint in C ended with exit code {self._program.wait()}")
        answer: dict[str, Any] = json.loads(said)
        return answer

    def _opened(self, which: int, frames: Any) -> dict[int, list[dict[str, Any]]]:
        """Messages by stream, text ones as they are, others opened."""
        found: dict[int, list[dict[str, Any]]] = {}
        for stream, data in frames:
            if isinstance(data, bytes) and stream not in self._openers:
                raise Differs(f"a sealed message on stream {stream}, where nobody proved anything")
            body = (
                data.encode()
                if isinstance(data, str)
                else self._openers[stream].openers[which].open(data)[1]
            )
            found.setdefault(stream, []).append(json.loads(body))
        return found

    def _messages(self, messages: list[dict[str, Any]], others: list[dict[str, Any]]) -> None:
        first = self.joint.path.buffer.first
        if (
            any(m.get("code") == "position" for m in [*messages, *others])
            and messages[0].keys() != others[0].keys()
            and first is not None
            and abs(first.position - self.joint.position(self.now)[0]) <= COUNTS_APART
        ):
            # Rest between two points may be a count apart, and then one stands at the first point.
            raise Parted
        names = [(m["type"], m.get("event"), m.get("code")) for m in messages]
        if names != [(m["type"], m.get("event"), m.get("code")) for m in others]:
            raise Differs(f"messages: Python {messages}, C {others}")
        for message, other in zip(messages, others, strict=True):
            if message.get("event") == "finished":
                # The last point may be reached where a fall all but ends.
                apart_us = abs(message["at_us"] - other["at_us"])
                if PATH_TOLERANCE_US < apart_us < NEARLY_AT_REST_US:
                    raise Parted
            for name in (message.keys() | other.keys()) - {"message"}:
                self._near(f"{message['type']}.{name}", message.get(name), other.get(name))

    def _near(self, name: str, one: Any, other: Any) -> None:
        last = name.rsplit(".", 1)[-1]
        if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
            for a, b in zip(one, other, strict=True):
                self._near(name, a, b)
        elif isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
            for key in one:
                self._near(f"{name}.{key}", one[key], other[key])
        elif one is None or other is None or isinstance(one, str):
            self._same(name, one, other)
        else:
            allowed: float = 0
            if last in _TIMES:
                allowed = PATH_TOLERANCE_US
            elif last in _COUNTS:
                allowed = COUNTS_APART
            elif last == "velocity":
                allowed = 2 + abs(one) * 1e-5 + 12
            if abs(one - other) > allowed or math.isnan(other):
                raise Differs(f"{name}: Python {one}, C {other}")

    def _same(self, name: str, one: Any, other: Any) -> None:
        if one != other:
            raise Differs(f"{name}: Python {one}, C {other}")


def _sent(answer: Mapping[str, Any]) -> Iterator[tuple[int, str | bytes]]:
    for stream, kind, data in answer["sent"]:
        raw = bytes.fromhex(data)
        yield stream, raw.decode() if kind == "t" else raw


def proven(program: Path, images: ImageStore | None = None) -> Pair:
    """Both joints, with a stream each, 1, that is proven for session 7."""
    pair = Pair(program, images=images)
    pair.open(1, bytes(32), 1)
    assert pair.handshake(1, bytes(16), 7, bytes(32))
    return pair
