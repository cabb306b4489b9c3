"""The JSON messages of the stream (design section 3).

Requests go to the joint: unknown types and fields are rejected. Reports come from it: unknown
fields are ignored, so that newer firmware can say more. JSON Schemas of both are exported to
`schemas/`.

JSON is I-JSON (RFC 7493): UTF-8, no key twice in an object, no number beyond what a double keeps.
What goes to a joint is plainer still, ASCII without escapes, so that it can be read in place.
"""

import json
import re
from typing import Annotated, Any, Final, Literal, NoReturn

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from protocol.configuration import Configuration
from protocol.constants import MAX_INTEGER
from protocol.errors import FrameError
from protocol.keys import fingerprint

U32 = Annotated[int, Field(ge=0, le=2**32 - 1)]
I53 = Annotated[int, Field(ge=-MAX_INTEGER, le=MAX_INTEGER)]
Ref = Annotated[int, Field(ge=0, le=MAX_INTEGER)]
Word = Annotated[str, Field(max_length=32)]
"""A code or a cause."""
MAX_SENTENCE = 200
Sentence = Annotated[str, Field(max_length=MAX_SENTENCE)]
"""For people, in characters."""
MAX_EDGES = 32
"""Of one homing; a sound sensor makes at most eight."""
Hex6 = Annotated[str, Field(pattern="^[0-9a-f]{12}$")]
Hex8 = Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
Hex16 = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
Hex32 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Request(BaseModel):
    """Strict: what a joint does not know must not be taken for granted."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Report(BaseModel):
    """Lenient: unknown fields are ignored."""

    model_config = ConfigDict(extra="ignore", frozen=True)


class Hello(Request):
    """First frame of a stream, to the joint, untagged."""

    type: Literal["hello"] = "hello"
    protocol: Annotated[int, Field(ge=0, le=2**16 - 1)]
    coordinator: Hex16
    """Lasting id of the coordinator."""
    session: Hex8
    """Random, new at every start of the coordinator."""
    nonce: Hex32


class Capabilities(Report):
    """What a joint can do."""

    point_capacity: Annotated[int, Field(ge=16, le=2**31 - 1)]
    max_step_rate_hz: Annotated[int, Field(gt=0, le=2**31 - 1)]
    sensors: Annotated[list[Annotated[str, Field(max_length=16)]], Field(max_length=8)] = []
    inputs: Annotated[int, Field(ge=0, le=8)] = 0
    outputs: Annotated[int, Field(ge=0, le=8)] = 0
    idle_current: bool = False
    """Whether it can reduce its current at rest; one that does not say so is not asked to."""
    board: Annotated[str, Field(max_length=16)] | None = None
    """The board that images for it are for; None where it takes none."""
    image_capacity: Annotated[int, Field(ge=0, le=2**31 - 1)] = 0
    """Bytes of the largest image that it takes."""


class Welcome(Report):
    """Second frame, from the joint, untagged: who it is, and its proof."""

    type: Literal["welcome"] = "welcome"
    id: Hex6
    firmware: Word
    boot: Annotated[int, Field(ge=1, le=2**32 - 1)]
    nonce: Hex32
    proof: Hex32
    udp: Annotated[int, Field(ge=1, le=2**16 - 1)]
    """The port for datagrams."""
    capabilities: Capabilities
    configuration: Hex32 | None = None
    """`digest` of the request that set the configuration in force, null before the first."""
    keyed: Hex32 | None = None
    """The joint's nonce of the handshake that the datagram keys in force come from, where the
    hello named the session in force; null where this handshake makes new ones. Without it a
    coordinator whose first stream broke right after its proof could not know which keys hold."""
    trajectory: U32 = 0
    next_index: U32 = 0
    image: Hex32 | None = None
    """SHA-256 of the image that runs; None for one that did not come over the air."""
    on_trial: bool = False
    """Whether the image that runs is not confirmed yet: a restart brings back the one before."""


class Proof(Request):
    """Third frame, to the joint, untagged. Everything after it is tagged."""

    type: Literal["proof"] = "proof"
    proof: Hex32


class Configure(Request):
    """At rest only. New geometry makes the joint unhomed."""

    type: Literal["configure"] = "configure"
    configuration: Configuration

    def digest(self) -> str:
        """SHA-256 in hex of the body that `encode` makes of this: a joint hashes what it gets."""
        return fingerprint(encode(self))


class Prepare(Request):
    """Get ready to play a trajectory whose first window is loaded."""

    type: Literal["prepare"] = "prepare"
    trajectory: U32


class Discard(Request):
    """At rest only: forget trajectory and plan."""

    type: Literal["discard"] = "discard"


class Clear(Request):
    """At rest only: lift a latched stop and the faults whose cause is gone."""

    type: Literal["clear"] = "clear"


class Blink(Request):
    """Which one are you? The joint's light blinks."""

    type: Literal["blink"] = "blink"
    seconds: Annotated[int, Field(ge=1, le=60)] = 5


class Update(Request):
    """At rest with drivers off only: an image comes. The same one again goes on where it was."""

    type: Literal["update"] = "update"
    header: Annotated[str, Field(pattern="^[0-9a-f]{200}$")]
    """`protocol.image.encode_header` in hex."""
    signature: Annotated[str, Field(pattern="^[0-9a-f]{128}$")]
    """Of the header, by Ed25519."""


class Install(Request):
    """At rest with drivers off only: restart with the image that came, on trial."""

    type: Literal["install"] = "install"


class Ack(Report):
    """The frame with number `ref` was carried out; 0 stands for the handshake."""

    type: Literal["ack"] = "ack"
    ref: Ref


class Reject(Report):
    """The frame with number `ref` was not carried out. `code` is stable."""

    type: Literal["reject"] = "reject"
    ref: Ref
    code: Word
    message: Sentence


class Edge(Report):
    """One passage of the home sensor's edge during homing."""

    position: I53
    """Counts, in the frame in force before homing."""
    rising: bool
    fast: bool


class Homed(Report):
    """Homing is done: every edge, and where the middle was found."""

    type: Literal["event"] = "event"
    event: Literal["homed"] = "homed"
    at_us: I53
    homing_number: U32
    edges: Annotated[list[Edge], Field(max_length=MAX_EDGES)]
    middle: I53
    """Counts, in the frame in force before homing."""
    shift: I53
    """What was added to every position to make the middle the home position."""
    lost: I53 | None = None
    """Counts by which the axis was away from where the joint, until then homed, had believed it."""


class HomingFailed(Report):
    """Homing ended without a home."""

    type: Literal["event"] = "event"
    event: Literal["homing-failed"] = "homing-failed"
    at_us: I53
    homing_number: U32
    message: Sentence
    edges: Annotated[list[Edge], Field(max_length=MAX_EDGES)] = []


class Started(Report):
    """The joint started or resumed. Times are joint times in µs."""

    type: Literal["event"] = "event"
    event: Literal["started"] = "started"
    trajectory: U32
    plan: U32
    path_us: I53
    permission_us: I53
    """When plan and permit were both there."""
    start_us: I53
    """When the start's instant came by the joint's own clock."""


class Finished(Report):
    """The last point was reached."""

    type: Literal["event"] = "event"
    event: Literal["finished"] = "finished"
    trajectory: U32
    at_us: I53
    position: I53


class Held(Report):
    """At rest on the path before its end."""

    type: Literal["event"] = "event"
    event: Literal["held"] = "held"
    trajectory: U32
    at_us: I53
    path_us: I53
    ramp_began_us: I53
    """Path time at which the ramp began."""
    cause: Word


class Stopped(Report):
    """At rest after a stop."""

    type: Literal["event"] = "event"
    event: Literal["stopped"] = "stopped"
    at_us: I53
    level: Annotated[int, Field(ge=0, le=3)]
    position: I53


class Faulted(Report):
    """A fault was found."""

    type: Literal["event"] = "event"
    event: Literal["fault"] = "fault"
    at_us: I53
    fault: Word
    message: Sentence


class Updating(Report):
    """How much of an image is kept: what comes next begins there."""

    type: Literal["event"] = "event"
    event: Literal["update"] = "update"
    image: Hex32
    """SHA-256 of the image."""
    received: Annotated[int, Field(ge=0, le=2**31 - 1)]
    """Bytes of it that also a power cut leaves."""


AnyEvent = Homed | HomingFailed | Started | Finished | Held | Stopped | Faulted | Updating
Event = Annotated[AnyEvent, Field(discriminator="event")]
AnyRequest = Configure | Prepare | Discard | Clear | Blink | Update | Install
ToJoint = Annotated[AnyRequest, Field(discriminator="type")]

_requests: TypeAdapter[AnyRequest] = TypeAdapter(ToJoint)
_events: TypeAdapter[AnyEvent] = TypeAdapter(Event)
_opening: dict[str, type[Hello] | type[Welcome] | type[Proof] | type[Reject]] = {
    "hello": Hello, "welcome": Welcome, "proof": Proof, "reject": Reject,
}  # fmt: skip
_answers: dict[str, type[Ack] | type[Reject]] = {"ack": Ack, "reject": Reject}
_OF_IMAGES: Final = ("update", "install")


def schema_name(message: type[BaseModel]) -> str:
    """A message's name: its type, or `event-` and the event."""
    fields = message.model_fields
    if "event" in fields:
        return f"event-{fields['event'].default}"
    return str(fields["type"].default)


def encode(message: BaseModel) -> bytes:
    """A message as JSON bytes."""
    return message.model_dump_json().encode()


def decode_opening(data: str | bytes) -> Hello | Welcome | Proof | Reject:
    """An untagged frame of the handshake. Raises FrameError."""
    _require_json(data)
    kind = _kind_of(data)
    if kind not in _opening:
        raise FrameError("message-unknown", f"{kind!r} does not open a stream")
    try:
        return _opening[kind].model_validate_json(data)
    except ValidationError as error:
        raise FrameError("message-invalid", _first(error)) from error


def decode_opening_to_joint(text: str) -> Hello | Proof:
    """An untagged frame that came to a joint. Raises FrameError."""
    _require_plain(text.encode())
    _require_json(text)
    kind = _kind_of(text)
    if kind not in ("hello", "proof"):
        raise FrameError("message-unknown", f"{kind!r} does not open a stream to a joint")
    message = decode_opening(text)
    assert isinstance(message, Hello | Proof), "these are the two"
    return message


def decode_request(body: bytes, *, takes_images: bool = True) -> AnyRequest:
    """A tagged request to the joint. Raises FrameError for unknown types and fields.

    A joint that takes no images knows no requests about them.
    """
    _require_plain(body)
    _require_json(body)
    if not takes_images and (kind := _kind_of(body)) in _OF_IMAGES:
        raise FrameError("message-unknown", f"{kind}: this joint takes no images")
    try:
        return _requests.validate_json(body)
    except ValidationError as error:
        mistake = error.errors()[0]["type"]
        code = "message-unknown" if mistake.startswith("union_tag") else "message-invalid"
        raise FrameError(code, _first(error)) from error


def decode_report(body: bytes) -> Ack | Reject | AnyEvent | None:
    """A tagged report from the joint; None for a type that this version does not know.

    Raises FrameError when a known report lacks what it must have.
    """
    _require_json(body)
    try:
        kind = _Kind.model_validate_json(body)
        if kind.type in _answers:
            return _answers[kind.type].model_validate_json(body)
        if kind.type == "event":
            return _events.validate_json(body)
        return None
    except ValidationError as error:
        if error.errors()[0]["type"] == "union_tag_invalid":
            return None
        raise FrameError("message-invalid", _first(error)) from error


def _kind_of(data: str | bytes) -> str | None:
    """The type of an object, None if it has none. Raises FrameError for what is no object."""
    try:
        return _Kind.model_validate_json(data).type
    except ValidationError as error:
        if not error.errors()[0]["loc"]:
            raise FrameError("message-invalid", _first(error)) from error
        return None


class _Kind(BaseModel):
    type: str


_NOT_PLAIN = re.compile(rb"[^\t\n\r\x20-\x7e]|\\")


def _require_plain(data: bytes) -> None:
    """ASCII without a backslash."""
    found = _NOT_PLAIN.search(data)
    if found:
        raise FrameError(
            "message-invalid",
            f"byte {found.start()} is {found[0].hex()}: neither backslashes nor anything beyond "
            "ASCII may go to a joint",
        )


def _require_json(data: str | bytes) -> None:
    """I-JSON as far as the models cannot see it: UTF-8, and no key twice in one object."""
    try:
        text = data if isinstance(data, str) else data.decode()
        json.loads(text, object_pairs_hook=_once, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise FrameError("message-invalid", f"not JSON: {error}") from error


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands twice in one object")
    return found


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no JSON")


def _first(error: ValidationError) -> str:
    found: Any = error.errors()[0]
    where = ".".join(str(part) for part in found["loc"]) or "message"
    return f"{where}: {found['msg']}"
