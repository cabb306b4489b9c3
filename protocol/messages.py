"""The JSON messages of the stream (design section 3).

Requests go to the joint: unknown types and fields are rejected. Reports come from it: unknown
fields are ignored, so that newer firmware can say more. JSON Schemas of both are exported to
`schemas/`.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from protocol.configuration import Configuration
from protocol.errors import FrameError

U32 = Annotated[int, Field(ge=0, le=2**32 - 1)]
I64 = Annotated[int, Field(ge=-(2**63), le=2**63 - 1)]
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
    protocol: int
    coordinator: Hex16
    """Lasting id of the coordinator."""
    session: Hex8
    """Random, new at every start of the coordinator."""
    nonce: Hex32


class Capabilities(Report):
    """What a joint can do."""

    point_capacity: Annotated[int, Field(ge=16)]
    max_step_rate_hz: Annotated[int, Field(gt=0)]
    sensors: list[str] = []
    inputs: Annotated[int, Field(ge=0, le=8)] = 0
    outputs: Annotated[int, Field(ge=0, le=8)] = 0


class Welcome(Report):
    """Second frame, from the joint, untagged: who it is, and its proof."""

    type: Literal["welcome"] = "welcome"
    id: Hex6
    firmware: str
    boot: U32
    nonce: Hex32
    proof: Hex32
    capabilities: Capabilities
    configuration: Hex32 | None = None
    """SHA-256 of the configuration in force, null before the first."""
    keyed: Hex32 | None = None
    """The joint's nonce of the handshake that the datagram keys in force come from, where the
    hello named the session in force; null where this handshake makes new ones. Without it a
    coordinator whose first stream broke right after its proof could not know which keys hold."""
    trajectory: U32 = 0
    next_index: U32 = 0


class Proof(Request):
    """Third frame, to the joint, untagged. Everything after it is tagged."""

    type: Literal["proof"] = "proof"
    proof: Hex32


class Configure(Request):
    """At rest only. New geometry makes the joint unhomed."""

    type: Literal["configure"] = "configure"
    configuration: Configuration


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


class Light(Request):
    """The joint's light, 0 off to 255."""

    type: Literal["light"] = "light"
    level: Annotated[int, Field(ge=0, le=255)]


class Ack(Report):
    """The frame with number `ref` was carried out; 0 stands for the handshake."""

    type: Literal["ack"] = "ack"
    ref: Annotated[int, Field(ge=0)]


class Reject(Report):
    """The frame with number `ref` was not carried out. `code` is stable."""

    type: Literal["reject"] = "reject"
    ref: Annotated[int, Field(ge=0)]
    code: str
    message: str


class Edge(Report):
    """One passage of the home sensor's edge during homing."""

    position: I64
    """Counts, in the frame in force before homing."""
    rising: bool
    fast: bool


class Homed(Report):
    """Homing is done: every edge, and where the middle was found."""

    type: Literal["event"] = "event"
    event: Literal["homed"] = "homed"
    at_us: I64
    homing_number: U32
    edges: list[Edge]
    middle: I64
    """Counts, in the frame in force before homing."""
    shift: I64
    """What was added to every position to make the middle the home position."""
    lost: I64 | None = None
    """Counts by which the axis was away from where the joint, until then homed, had believed it."""


class HomingFailed(Report):
    """Homing ended without a home."""

    type: Literal["event"] = "event"
    event: Literal["homing-failed"] = "homing-failed"
    at_us: I64
    homing_number: U32
    message: str
    edges: list[Edge] = []


class Started(Report):
    """The joint started or resumed. Times are joint times in µs."""

    type: Literal["event"] = "event"
    event: Literal["started"] = "started"
    trajectory: U32
    plan: U32
    path_us: I64
    permission_us: I64
    """When plan and lease were both there."""
    start_us: I64
    """When the start's instant came by the joint's own clock."""


class Finished(Report):
    """The last point was reached."""

    type: Literal["event"] = "event"
    event: Literal["finished"] = "finished"
    trajectory: U32
    at_us: I64
    position: I64


class Held(Report):
    """At rest on the path before its end."""

    type: Literal["event"] = "event"
    event: Literal["held"] = "held"
    trajectory: U32
    at_us: I64
    path_us: I64
    ramp_began_us: I64
    """Path time at which the ramp began."""
    cause: str


class Stopped(Report):
    """At rest after a stop."""

    type: Literal["event"] = "event"
    event: Literal["stopped"] = "stopped"
    at_us: I64
    level: Annotated[int, Field(ge=0, le=3)]
    position: I64


class Faulted(Report):
    """A fault was found."""

    type: Literal["event"] = "event"
    event: Literal["fault"] = "fault"
    at_us: I64
    fault: str
    message: str


Event = Annotated[
    Homed | HomingFailed | Started | Finished | Held | Stopped | Faulted,
    Field(discriminator="event"),
]
AnyRequest = Configure | Prepare | Discard | Clear | Blink | Light
ToJoint = Annotated[AnyRequest, Field(discriminator="type")]

_requests: TypeAdapter[AnyRequest] = TypeAdapter(ToJoint)
_events: TypeAdapter[Homed | HomingFailed | Started | Finished | Held | Stopped | Faulted] = (
    TypeAdapter(Event)
)
_opening: dict[str, type[Hello] | type[Welcome] | type[Proof] | type[Reject]] = {
    "hello": Hello, "welcome": Welcome, "proof": Proof, "reject": Reject,
}  # fmt: skip
_answers: dict[str, type[Ack] | type[Reject]] = {"ack": Ack, "reject": Reject}


def encode(message: BaseModel) -> bytes:
    """A message as JSON bytes."""
    return message.model_dump_json().encode()


def decode_opening(data: str | bytes) -> Hello | Welcome | Proof | Reject:
    """An untagged frame of the handshake. Raises FrameError."""
    try:
        kind = _Kind.model_validate_json(data).type
        if kind not in _opening:
            raise FrameError("message-unknown", f"{kind!r} does not open a stream")
        return _opening[kind].model_validate_json(data)
    except ValidationError as error:
        raise FrameError("message-invalid", _first(error)) from error


def decode_request(
    body: bytes,
) -> AnyRequest:
    """A tagged request to the joint. Raises FrameError for unknown types and fields."""
    try:
        return _requests.validate_json(body)
    except ValidationError as error:
        kind = error.errors()[0]["type"]
        code = "message-unknown" if kind.startswith("union_tag") else "message-invalid"
        raise FrameError(code, _first(error)) from error


def decode_report(
    body: bytes,
) -> Ack | Reject | Homed | HomingFailed | Started | Finished | Held | Stopped | Faulted | None:
    """A tagged report from the joint; None for a type that this version does not know.

    Raises FrameError when a known report lacks what it must have.
    """
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


class _Kind(BaseModel):
    type: str


def _first(error: ValidationError) -> str:
    found: Any = error.errors()[0]
    where = ".".join(str(part) for part in found["loc"]) or "message"
    return f"{where}: {found['msg']}"
