"""What goes into the coordinator's core and what comes out of it. All times are arm time in µs.

Events are what the network did, commands are what a person asked, actions are what the shell
must do. The core never sees bytes: a shell (or the rehearsal) encodes, tags and times them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from pydantic import BaseModel

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core.updating.signed import SignedImage
from coordinator.health.link_survey import USUAL_FOR_S
from coordinator.motion.feeding import PlayedPart, PlayedParts, part_at
from coordinator.motion.outputs import ToolNeed
from coordinator.programs import NO_SWITCHES, Switches
from coordinator.programs.loops import ONCE, Loops
from coordinator.timing.exchange import Exchange
from protocol.constants import US
from protocol.discovery import Announcement
from protocol.drive import Drive, StopLevel
from protocol.image import ImageFrame
from protocol.messages import AnyRequest, Welcome
from protocol.points import PointsFrame
from protocol.status import Status

Content = AnyRequest | PointsFrame | ImageFrame
"""Of a frame on a joint's stream."""

# ---- events -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, order=True)
class StreamAddress:
    """Where a joint's stream may be: IPv4 address, TCP port and path."""

    host: str
    stream_port: int
    path: str

    def __str__(self) -> str:
        return f"{self.host}:{self.stream_port}"


@dataclass(frozen=True, slots=True)
class Found:
    """A joint announced itself, or its address changed. `instance` is its DNS-SD name."""

    instance: str
    host: str
    stream_port: int
    announcement: Announcement

    @property
    def address(self) -> StreamAddress:
        """Where it says that it is."""
        return StreamAddress(self.host, self.stream_port, self.announcement.path)


@dataclass(frozen=True, slots=True)
class Gone:
    """A joint said goodbye."""

    instance: str


@dataclass(frozen=True, slots=True)
class Silent:
    """What was announced has not been answered for minutes, without a goodbye."""

    instance: str


@dataclass(frozen=True, slots=True)
class AskedByMulticast:
    """A question went out by multicast to these joints; `at_us` was read just before."""

    number: int
    joint_ids: tuple[str, ...]
    at_us: int


@dataclass(frozen=True, slots=True)
class AnsweredMulticast:
    """A joint answered that question; `at_us` was read just after. It proves nothing."""

    number: int
    joint_id: str
    at_us: int


@dataclass(frozen=True, slots=True)
class Knocked:
    """A joint proved its id and the arm's key at a address, in an exchange begun at `begun_us`."""

    joint_id: str
    address: StreamAddress
    boot: int
    begun_us: int


@dataclass(frozen=True, slots=True)
class KnockFailed:
    """No joint of that id and key answered at a address; `code` is stable, `message` a sentence."""

    joint_id: str
    address: StreamAddress
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class LinkUp:
    """The handshake succeeded; `welcome` is the joint's."""

    joint_id: str
    welcome: Welcome


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The stream ended or never came about; `code` is stable, `message` a sentence."""

    joint_id: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class DriveSent:
    """The shell has sent a drive; `at_us` was read just before."""

    joint_id: str
    sequence: int
    at_us: int


@dataclass(frozen=True, slots=True)
class Replied:
    """A reply with a good tag to a drive of this session. T2 is rounded up, T3 down."""

    joint_id: str
    sequence: int
    exchange: Exchange
    status: Status


@dataclass(frozen=True, slots=True)
class Reported:
    """A tagged report on the stream: an ack or reject with `ref`, or an event."""

    joint_id: str
    report: BaseModel


@dataclass(frozen=True, slots=True)
class FrameSent:
    """The shell has sent the frame of action `token`; acks will name `number`."""

    joint_id: str
    token: int
    number: int


@dataclass(frozen=True, slots=True)
class HostSlept:
    """Arm time stood still while the host slept: the session is over; `session` is the new one."""

    slept_us: int
    session: int


@dataclass(frozen=True, slots=True)
class AddressGone:
    """The laptop has lost its address on the joints' network."""

    address: str


@dataclass(frozen=True, slots=True)
class AddressBack:
    """The laptop has its address on the joints' network again."""

    address: str


Event = (
    Found
    | Gone
    | Silent
    | Knocked
    | KnockFailed
    | LinkUp
    | LinkDown
    | DriveSent
    | Replied
    | Reported
    | FrameSent
    | AskedByMulticast
    | AnsweredMulticast
    | HostSlept
    | AddressGone
    | AddressBack
)

# ---- commands -----------------------------------------------------------------------------


class Because(StrEnum):
    """Why something comes to rest that was told to: a clause."""

    OPERATOR = "the operator asked"
    TAKEN_OVER = "control was taken over"
    ENDING = "the coordinator is ending"
    GONE = "whoever jogged has gone"


@dataclass(frozen=True, slots=True)
class Home:
    """Home these joints, or all for none named, in the arm file's order."""

    joints: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HoldHome:
    """Home one joint, and let it move only while this is renewed; let go by a jog of nothing."""

    joint: str


@dataclass(frozen=True, slots=True)
class Play:
    """Play a program that was checked and planned whole from where the joints stand."""

    name: str
    text: str
    parts: PlayedParts
    loops: Loops = ONCE
    """How often it is played."""
    switches: Switches = NO_SWITCHES
    """With which it was read."""
    lines: int | None = None
    """Of its text; None where they are to be counted in it."""
    needs: tuple[ToolNeed, ...] | None = None
    """What it needs of the tools; None where that is to be looked for in its parts."""

    def part(self, index: int) -> PlayedPart | None:
        """The part of an index, from 0; None behind the last one."""
        return part_at(self.parts, index, self.loops)


@dataclass(frozen=True, slots=True)
class Hold:
    """Come to rest on the path; a run that has not started yet does not start.

    A homing or a jog, which have no path, ends.
    """

    because: Because = Because.OPERATOR


@dataclass(frozen=True, slots=True)
class Resume:
    """Go on after a hold or a programmed pause."""


@dataclass(frozen=True, slots=True)
class Stop:
    """Brake off the path, all joints; the run is over."""

    level: StopLevel = StopLevel.STOP


@dataclass(frozen=True, slots=True)
class Override:
    """PointFeed override, 50000 to 1000000 ppm."""

    rate_ppm: int


@dataclass(frozen=True, slots=True)
class Jog:
    """Turn joints while this is renewed, those named and no others; at 0 a joint brakes."""

    velocities_deg_s: Mapping[str, float]
    """By joint; empty lets go of all."""


@dataclass(frozen=True, slots=True)
class Step:
    """Turn one joint by an angle, exactly, from where its last step ends."""

    joint: str
    by_deg: float
    speed_deg_s: float


@dataclass(frozen=True, slots=True)
class Go:
    """Turn joints to a place while this is renewed; let go by a jog of nothing."""

    name: str
    """Of the place, for people."""
    targets_deg: Mapping[str, float]
    """By joint."""
    share: float
    """Of the velocity limit of the joint that is the last to arrive."""


@dataclass(frozen=True, slots=True)
class Blink:
    """Let a joint's light blink."""

    joint: str


@dataclass(frozen=True, slots=True)
class Switch:
    """Switch an output by hand, at rest."""

    output: str
    on: bool


@dataclass(frozen=True, slots=True)
class Update:
    """Give a joint new firmware: nothing moves, and its motor is off."""

    joint: str
    file: SignedImage


@dataclass(frozen=True, slots=True)
class CancelUpdate:
    """Send no more of it; too late once the joint is to install it."""

    joint: str


@dataclass(frozen=True, slots=True)
class Survey:
    """Measure the links of these joints at rest, of all for none named."""

    joints: tuple[str, ...] = ()
    for_us: int = round(USUAL_FOR_S * US)


@dataclass(frozen=True, slots=True)
class CancelSurvey:
    """End the survey that goes on; nothing is told of it."""


Command = (
    Home
    | HoldHome
    | Play
    | Hold
    | Resume
    | Stop
    | Override
    | Jog
    | Step
    | Go
    | Blink
    | Switch
    | Update
    | CancelUpdate
    | Survey
    | CancelSurvey
)


class Refused(Exception):
    """A command that cannot be carried out; nothing has changed.

    `code` is stable, the text names the thing, the limit and the value.
    """

    def __init__(self, code: RefusalCode, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


# ---- actions ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Connect:
    """Open the stream to a joint and shake hands for this session."""

    joint_id: str
    address: StreamAddress
    session: int


@dataclass(frozen=True, slots=True)
class Knock:
    """Ask for a joint's proof at a address, in a stream that is closed at once, without our own.

    Answered by Knocked with the same `begun_us`, or KnockFailed.
    """

    joint_id: str
    address: StreamAddress
    session: int
    begun_us: int


@dataclass(frozen=True, slots=True)
class Seek:
    """Ask the network for joints once more: some are missing."""


@dataclass(frozen=True, slots=True)
class AskByMulticast:
    """Ask these joints something by one multicast, and report it with AskedByMulticast.

    Those whose names on the network are not known cannot be asked. Numbers are of 16 bits.
    """

    number: int
    joint_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Disconnect:
    """Close a joint's stream and exchange no datagrams until the next Connect.

    Datagram keys belong to the session: a joint that keeps the session keeps them.
    """

    joint_id: str


@dataclass(frozen=True, slots=True)
class SendDrive:
    """Send a drive now and report it with DriveSent."""

    joint_id: str
    drive: Drive


@dataclass(frozen=True, slots=True)
class SendFrame:
    """Send a request, a frame of points or one of an image and report it with FrameSent."""

    joint_id: str
    token: int
    content: Content


@dataclass(frozen=True, slots=True)
class Note:
    """Something a person should know. `level` is info, attention or danger."""

    at_us: int
    level: Level
    code: str
    message: str
    joint: str | None = None
    detail: bool = False
    """A part of something that has a line of its own: for those who look closer."""


@dataclass(frozen=True, slots=True)
class ReportGrew:
    """A run's report has something new, its end at the latest; see `Coordinator.reports`."""

    run: int


@dataclass(frozen=True, slots=True)
class Touched:
    """Somebody turned or pressed a joint's control."""

    joint: str
    turn: int
    """Detents, to larger angles positive."""
    presses: int
    """Short ones."""
    long_presses: int


Action = (
    Connect
    | Knock
    | Seek
    | AskByMulticast
    | Disconnect
    | SendDrive
    | SendFrame
    | Note
    | ReportGrew
    | Touched
)
