"""What a joint must refuse and a coordinator never sends: some of it by chance, one at a time."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from protocol.drive import Drive, StopLevel
from protocol.keys import Direction, proof
from protocol.messages import Proof, encode
from protocol.points import Point, PointsFrame, encode_points
from tests.joint_c.pair import KEY

if TYPE_CHECKING:
    from tests.joint_c.treatment import Treatment

CAPACITIES: Final = (512, 512, 16, 24)
"""Points that a pair of joints holds."""
STEP_US: Final = 100_000
SLOWLY: Final = 45_511
"""Counts/s: a degree a second of the treatment's joint."""
BESIDE: Final = 1_000


def _same_frame_again(on: "Treatment") -> None:
    keys = on.pair.streams.get(on.stream)
    if keys is None:
        return
    frame = keys.sealer.seal(b'{"type":"blink","seconds":1}')[1]
    on.pair.frame(on.stream, frame)
    if on.stream in on.pair.streams:
        on.pair.frame(on.stream, frame)


def _newer_drive_of_another_session(on: "Treatment") -> None:
    if on.keys is not None:
        drive = Drive(on.session + 1, on.sequence + 1, stop=StopLevel.STOP)
        on.pair.drive(drive, on.drive_keys)


def _wrong_proof(on: "Treatment") -> None:
    on.opened += 1
    stream, nonce = on.opened, on.random.randbytes(32)
    on.pair.open(stream, on.random.randbytes(32), 2)
    if not on.pair.hello(stream, on.coordinator, on.session, nonce):
        return
    transcript = on.pair.transcript_of(stream, on.coordinator, on.session, nonce)
    # That of the joint, as of whoever gives back what was said.
    said = proof(KEY, Direction.TO_COORDINATOR, transcript)
    on.pair.frame(stream, encode(Proof(proof=said.hex())).decode())


def _points(on: "Treatment", points: list[Point]) -> None:
    on.rest, on.index = points, len(points)
    on.body(encode_points(PointsFrame(on.trajectory, 0, tuple(points))))


def _more_points_than_room(on: "Treatment") -> None:
    begin = on.begin_load()
    _points(on, [Point(k * STEP_US, begin, 0, last=k == 29) for k in range(30)])


def _output_in_motion(on: "Treatment") -> None:
    begin, way = on.begin_load(), SLOWLY // 20
    middle = Point(STEP_US, begin + way, SLOWLY, output_mask=1, output_values=1)
    _points(
        on, [Point(0, begin, 0), middle, Point(2 * STEP_US, begin + 2 * way, 0, last=True)]
    )  # fmt: skip


def _points_from_elsewhere(on: "Treatment") -> None:
    begin = on.begin_load() + BESIDE
    _points(on, [Point(0, begin, 0), Point(STEP_US, begin, 0, last=True)])
    on.request({"type": "prepare", "trajectory": on.trajectory})


REFUSED: Final[tuple[Callable[["Treatment"], None], ...]] = (
    _same_frame_again,
    _newer_drive_of_another_session,
    _wrong_proof,
    _more_points_than_room,
    _output_in_motion,
    _points_from_elsewhere,
)
