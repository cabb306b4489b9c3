"""A joint that takes images by the rules of protocol/README.md, "Update", and a coordinator before
it, in virtual time: every frame takes its time, and streams and power go when a test says so.

It is written from that page alone, for the coordinator's tests; it moves nothing.
"""

import hashlib
import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from itertools import count

from pydantic import BaseModel

from coordinator.core import events as ev
from coordinator.core.link.link import JointLink
from coordinator.core.machine import Coordinator
from coordinator.core.updating.signed import SignedImage, read_signed
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.timing.exchange import Exchange
from protocol import messages
from protocol.discovery import Announcement
from protocol.drive import Drive, StopLevel
from protocol.image import ImageFrame, decode_header, describe, encode_header
from protocol.messages import Capabilities, Reject, Welcome
from protocol.states import JointState
from protocol.status import Status
from tests.coordinator.core.kit import S, small_arm

WAY_US = 2_000
"""Of anything from one end to the other."""
BOOT_US = 3 * S
BLOCK = 4096
"""Of flash memory: what is not a whole one, a power cut takes."""
TRIAL_US = 120 * S
GOOD_SIGNATURE = b"\x51" * 64


def signed(
    image: bytes = b"pricking out " * 1000,
    *,
    board: str = "bench-joint",
    firmware: str = "1.5.0",
    signature: bytes = GOOD_SIGNATURE,
) -> SignedImage:
    """A signed image; `signature` is the one that the scripted joint takes for a good one."""
    header = encode_header(describe(board, firmware, image))
    return read_signed("firmware.image", header + signature + image)


@dataclass
class Firmware:
    """What runs, or is to run."""

    version: str
    sha256: str | None = None


@dataclass
class ScriptedJoint:
    """A joint. What a test may want to be so is a field."""

    id: str
    boot: int = 7
    runs: Firmware = field(default_factory=lambda: Firmware("1.4.0"))
    before: Firmware | None = None
    on_trial: bool = False
    board: str | None = "bench-joint"
    capacity: int = 1_900_544
    is_there: bool = True
    energised: bool = False
    state: JointState = JointState.UNHOMED
    answers_drives: bool = True
    dead_versions: frozenset[str] = frozenset()
    """Firmware that answers no drive."""
    lost_versions: frozenset[str] = frozenset()
    """Firmware that never gets as far as a network."""
    answers_requests: bool = True
    spoils: bool = False
    """Whether its memory keeps other bytes than came."""
    header: bytes | None = None
    to_try: Firmware | None = None
    """What the next boot runs, on trial."""
    memory: bytearray = field(default_factory=bytearray, repr=False)
    """Of the image that comes."""
    sequence: int = 0
    has_keys: bool = False
    """Whether a handshake since its boot gave it keys for datagrams."""

    @property
    def kept(self) -> int:
        """Bytes that a power cut leaves."""
        if self.header is not None and len(self.memory) == decode_header(self.header).size_bytes:
            return len(self.memory)
        return len(self.memory) // BLOCK * BLOCK

    def welcome(self) -> Welcome:
        """What it says of itself."""
        return Welcome(
            id=self.id, firmware=self.runs.version, boot=self.boot, nonce="0" * 64, proof="0" * 64,
            udp=9000, image=self.runs.sha256, on_trial=self.on_trial,
            capabilities=Capabilities(
                point_capacity=512, max_step_rate_hz=250_000, board=self.board,
                image_capacity=self.capacity if self.board else 0,
            ),
        )  # fmt: skip

    def take(self, content: ev.Content) -> tuple[str, list[BaseModel]]:
        """A reject code, empty for none, and the events behind the answer."""
        if isinstance(content, messages.Update | messages.Install | ImageFrame):
            if self.energised:
                return "energised", []
            if self.state is not JointState.UNHOMED:
                return "not-at-rest", []
        match content:
            case messages.Update(header=header, signature=signature):
                return self._offered(bytes.fromhex(header), bytes.fromhex(signature))
            case ImageFrame(offset=offset, data=data):
                return self._frame(offset, data), []
            case messages.Install():
                return self._install(), []
        return "", []

    def _offered(self, header: bytes, signature: bytes) -> tuple[str, list[BaseModel]]:
        found = decode_header(header)
        if self.board is None:
            return "message-unknown", []
        if self.on_trial:
            return "on-trial", []
        if found.board != self.board:
            return "image-board", []
        if signature != GOOD_SIGNATURE:
            return "image-signature", []
        if header != self.header:
            self.header, self.memory = header, bytearray()
        told = messages.Updating(image=found.sha256.hex(), received=self.kept)
        return "", [told]

    def _frame(self, offset: int, data: bytes) -> str:
        if self.header is None or offset > len(self.memory):
            return "image-gap"
        if offset + len(data) > decode_header(self.header).size_bytes:
            return "image-gap"
        self.memory += data[len(self.memory) - offset :]
        return ""

    def _install(self) -> str:
        if self.header is None or len(self.memory) != decode_header(self.header).size_bytes:
            return "image-missing"
        found = decode_header(self.header)
        if self.spoils or hashlib.sha256(self.memory).digest() != found.sha256:
            self.header, self.memory = None, bytearray()
            return "image-wrong"
        self.to_try, self.header = Firmware(found.firmware, found.sha256.hex()), None
        return ""

    def restart(self) -> None:
        """It boots: what is to be tried runs, and what was tried and not confirmed does no more."""
        self.boot += 1
        self.sequence = 0
        self.has_keys = False
        self.memory = self.memory[: self.kept]
        self.energised = False
        if self.on_trial and self.before is not None:
            self.runs, self.on_trial = self.before, False
        if self.to_try is not None:
            self.before, self.runs, self.on_trial = self.runs, self.to_try, True
            self.to_try = None


class Bench:
    """A coordinator, its two joints, and the time."""

    def __init__(self) -> None:
        arm = small_arm(2)
        self.now = 0
        self.core = Coordinator(arm, bytes(16), 0x51)
        self.joints = {joint.id: ScriptedJoint(joint.id) for joint in arm.joints}
        self.notes: list[ev.Note] = []
        self.sent: list[tuple[int, ev.SendFrame]] = []
        """With the arm time."""
        self.on_frame: Callable[[ev.SendFrame], None] = lambda _frame: None
        """Called with each frame to a joint, just before it is sent."""
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._order = count()
        self._streams = dict.fromkeys(self.joints, 0)
        """By joint, how many there were: what belongs to an older one gets lost."""
        self._open = dict.fromkeys(self.joints, False)
        self._numbers = dict.fromkeys(self.joints, 0)
        for number, joint in enumerate(self.joints.values()):
            said = Announcement(joint.id, "1.4.0", 9000)
            self.core.handle(ev.Found(f"joint {joint.id}", f"10.0.0.{number}", 80, said), 0)
        self.until(lambda: all(link.heard(self.now) for link in self.core.links))

    # ---- what tests ask ---------------------------------------------------------------------

    @property
    def link(self) -> JointLink:
        """The coordinator's side of the joint that is updated."""
        return self.core.links[0]

    @property
    def joint(self) -> ScriptedJoint:
        """That joint itself."""
        return self.joints[self.link.id]

    @property
    def update(self) -> UpdateSnapshot:
        """The newest update."""
        found = self.core.updates.snapshot()
        assert found is not None
        return found

    def begin(self, file: SignedImage | None = None) -> None:
        """Begin an update of the first joint."""
        self.command(ev.Update(self.link.name, file or signed()))

    def command(self, command: ev.Command) -> None:
        """Ask something of the coordinator."""
        self.core.command(command, self.now)
        self._act()

    def lines(self) -> list[str]:
        """The codes of all that was told as a line of its own."""
        return [note.code for note in self.notes if not note.detail]

    def until(self, condition: Callable[[], bool], limit_us: int = 400 * S) -> None:
        """Let time pass until something is so; fails the test where it does not come true."""
        end_us = self.now + limit_us
        while not condition():
            assert self.now < end_us, (self.core.updates.snapshot(), self.notes)
            self._turn(end_us)

    def run_for(self, us: int) -> None:
        """Let time pass."""
        end_us = self.now + us
        while self.now < end_us:
            self._turn(end_us)

    def over(self) -> UpdateSnapshot:
        """Let time pass until the update is over; what became of it."""
        self.until(lambda: self.update.phase.is_over)
        return self.update

    # ---- what befalls it --------------------------------------------------------------------

    def break_stream(self) -> None:
        """The stream of the first joint breaks; the next one may be opened at once."""
        self._break(self.joint)

    def cut_power(self, for_us: int = BOOT_US) -> None:
        """The first joint loses its power for a while, with all that it has not kept."""
        self._down(self.joint, for_us)

    # ---- how it goes ------------------------------------------------------------------------

    def _turn(self, end_us: int) -> None:
        """To the next thing that happens."""
        next_us = self._due[0][0] if self._due else end_us
        self.now = max(self.now, min(next_us, self.core.next_deadline(), end_us))
        while self._due and self._due[0][0] <= self.now:
            heapq.heappop(self._due)[2]()
            self._act()
        self._act()

    def _after(self, us: int, work: Callable[[], None]) -> None:
        heapq.heappush(self._due, (self.now + us, next(self._order), work))

    def _act(self) -> None:
        for action in self.core.poll(self.now):
            match action:
                case ev.Note():
                    self.notes.append(action)
                case ev.Connect(joint_id=joint_id):
                    self._connect(self.joints[joint_id])
                case ev.SendFrame():
                    self._frame(action)
                case ev.SendDrive(joint_id=joint_id, drive=drive):
                    self._drive(self.joints[joint_id], drive)

    def _connect(self, joint: ScriptedJoint) -> None:
        if not joint.is_there:
            down = ev.LinkDown(joint.id, "unreachable", "nobody answers there")
            self._after(WAY_US, lambda: self._tell(down))
            return
        self._streams[joint.id] += 1
        stream, up = self._streams[joint.id], ev.LinkUp(joint.id, joint.welcome())

        def opened() -> None:
            if stream == self._streams[joint.id]:
                self._open[joint.id] = joint.has_keys = True
                self._tell(up)

        self._after(2 * WAY_US, opened)

    def _frame(self, frame: ev.SendFrame) -> None:
        self.on_frame(frame)
        joint = self.joints[frame.joint_id]
        if not self._open[joint.id]:
            return
        self.sent.append((self.now, frame))
        self._numbers[joint.id] += 1
        number, stream = self._numbers[joint.id], self._streams[joint.id]
        self._tell(ev.FrameSent(joint.id, frame.token, number))

        def arrives() -> None:
            if stream == self._streams[joint.id] and joint.is_there and joint.answers_requests:
                code, events = joint.take(frame.content)
                answer = (
                    Reject(ref=number, code=code, message=f"it says {code}")
                    if code
                    else messages.Ack(ref=number)
                )
                for report in (answer, *events):
                    self._after(WAY_US, partial(self._says, joint, stream, report))
                if isinstance(frame.content, messages.Install) and not code:
                    self._after(S // 2, lambda: self._restarts(joint))

        self._after(WAY_US, arrives)

    def _restarts(self, joint: ScriptedJoint) -> None:
        if joint.to_try is not None:  # else power went before
            self._down(joint, BOOT_US)

    def _says(self, joint: ScriptedJoint, stream: int, report: BaseModel) -> None:
        if stream == self._streams[joint.id]:
            self._tell(ev.Reported(joint.id, report))

    def _drive(self, joint: ScriptedJoint, drive: Drive) -> None:
        sent_us, boot = self.now, joint.boot
        self._tell(ev.DriveSent(joint.id, drive.sequence, sent_us))

        def arrives() -> None:
            answers = joint.answers_drives and joint.runs.version not in joint.dead_versions
            if not (joint.has_keys and joint.is_there and joint.boot == boot and answers):
                return
            joint.on_trial = False
            joint.sequence = max(joint.sequence, drive.sequence)
            status = Status(
                joint.boot, joint.sequence, joint.state, energised=joint.energised,
                stop=StopLevel(drive.stop),
            )  # fmt: skip
            taken_us = self.now

            def answered() -> None:
                exchange = Exchange(sent_us, taken_us, taken_us, self.now)
                self._tell(ev.Replied(joint.id, drive.sequence, exchange, status))

            self._after(WAY_US, answered)

        self._after(WAY_US, arrives)

    def _break(self, joint: ScriptedJoint) -> None:
        self._streams[joint.id] += 1
        if self._open[joint.id]:
            self._open[joint.id] = False
            down = ev.LinkDown(joint.id, "stream-closed", "the stream was closed")
            self._after(WAY_US, lambda: self._tell(down))

    def _down(self, joint: ScriptedJoint, for_us: int) -> None:
        joint.is_there = False
        joint.restart()
        self._break(joint)
        self._after(for_us, lambda: self._booted(joint))

    def _booted(self, joint: ScriptedJoint) -> None:
        joint.is_there = joint.runs.version not in joint.lost_versions
        if joint.on_trial:
            boot = joint.boot
            self._after(TRIAL_US, lambda: self._trial_ends(joint, boot))

    def _trial_ends(self, joint: ScriptedJoint, boot: int) -> None:
        if joint.on_trial and joint.boot == boot:
            self._down(joint, BOOT_US)

    def _tell(self, event: ev.Event) -> None:
        self.core.handle(event, self.now)


def image_frames(bench: Bench) -> list[ImageFrame]:
    """Those that were sent so far."""
    return [one.content for _, one in bench.sent if isinstance(one.content, ImageFrame)]
