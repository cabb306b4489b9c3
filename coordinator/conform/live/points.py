"""Points into the buffer, and prepare: limits, edges, and the order of reasons."""

import zlib
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Make, NotMade, Section, equal
from coordinator.conform.course import there_and_back
from protocol.constants import MAX_POINTS_PER_FRAME
from protocol.drive import StopLevel
from protocol.messages import Clear, Discard, Prepare
from protocol.points import Point, PointsFrame, encode_points
from protocol.states import JointState

POINTS: Final = Section("points-frame")
SEGMENTS: Final = Section("segment-check")
BUFFER: Final = Section("what-a-buffer-must-hold")
MESSAGES: Final = Section("messages")
SECOND: Final = 1_000_000


async def _here(bench: Bench) -> int:
    return (await bench.talk.home()).position


async def _refused(bench: Bench, code: str, *points: Point, first: int = 0) -> None:
    """Raises Wrong unless points are refused, and nothing of them is taken."""
    before = await bench.talk.drive()
    equal("answer", code, await bench.talk.points(points, first=first))
    after = await bench.talk.drive()
    equal(
        "trajectory, next index and path time buffered as before",
        (before.trajectory, before.next_index, before.buffered_us),
        (after.trajectory, after.next_index, after.buffered_us),
    )


def _still(position: int, count: int, step_us: int = 10_000, first: int = 0) -> list[Point]:
    return [Point((first + k) * step_us, position, 0) for k in range(count)]


@POINTS.check("unhomed", "Points to a joint that is not homed are rejected: unhomed.")
async def unhomed(bench: Bench) -> None:
    await bench.unhomed()
    await _refused(bench, "unhomed", Point(0, 0, 0))


@POINTS.check("unhomed-first", "unhomed goes before what is wrong with trajectory and points.")
async def unhomed_first(bench: Bench) -> None:
    await bench.unhomed()
    equal("answer", "unhomed", await bench.talk.points([Point(5, 0, 9)], trajectory=0))


@POINTS.check("crc-first", "A wrong CRC goes before every reason that the joint's condition has.")
async def crc_first(bench: Bench) -> None:
    await bench.unhomed()
    body = encode_points(PointsFrame(0, 5, (Point(5, 0, 9),)))
    await bench.talk.require(body[:-1] + bytes((body[-1] ^ 1,)), "frame-crc")


@POINTS.check("field-first", "frame-field goes before the joint's condition too.")
async def field_first(bench: Bench) -> None:
    await bench.unhomed()
    head = encode_points(PointsFrame(7, 0, (Point(0, 0, 0),)))[:-5] + b"\1"
    await bench.talk.require(head + zlib.crc32(head).to_bytes(4), "frame-field")


@POINTS.check(
    "taken", "Points are taken; the status tells trajectory, next index and path time.", moves=True
)
async def taken(bench: Bench) -> None:
    here = await _here(bench)
    equal("answer", "ack", await bench.talk.points(_still(here, 3)))
    status = await bench.talk.drive()
    equal(
        "trajectory, next index, buffered",
        (7, 3, 20_000),
        (status.trajectory, status.next_index, status.buffered_us),
    )


@POINTS.check("trajectory-0", "Trajectory 0 is message-invalid.", moves=True)
async def trajectory_0(bench: Bench) -> None:
    here = await _here(bench)
    equal("answer", "message-invalid", await bench.talk.points([Point(0, here, 0)], trajectory=0))


@POINTS.check("other-loaded", "Points of another trajectory are trajectory-loaded.", moves=True)
async def other_loaded(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    equal("answer", "trajectory-loaded", await bench.talk.points(_still(here, 2), trajectory=8))


@POINTS.check("loaded-first", "trajectory-loaded goes before points-gap.", moves=True)
async def loaded_first(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    answer = await bench.talk.points([Point(9, here, 0)], trajectory=8, first=9)
    equal("answer", "trajectory-loaded", answer)


@POINTS.check("first-time", "A first point at another time than 0 is first-point.", moves=True)
async def first_time(bench: Bench) -> None:
    await _refused(bench, "first-point", Point(1, await _here(bench), 0))


@POINTS.check("first-velocity", "A first point with a velocity is first-point.", moves=True)
async def first_velocity(bench: Bench) -> None:
    await _refused(bench, "first-point", Point(0, await _here(bench), 1))


@POINTS.check("gap", "A frame that leaves out a point is points-gap.", moves=True)
async def gap(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    await _refused(bench, "points-gap", Point(50_000, here, 0), first=3)


@POINTS.check("gap-first", "A first frame that does not begin at 0 is points-gap.", moves=True)
async def gap_first(bench: Bench) -> None:
    await _refused(bench, "points-gap", Point(0, await _here(bench), 0), first=1)


@POINTS.check(
    "known", "A frame whose points are all known is acknowledged and ignored.", moves=True
)
async def known(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 3))
    equal("answer", "ack", await bench.talk.points([Point(7, here + 9, 5)], first=1))
    status = await bench.talk.drive()
    equal("next index, buffered", (3, 20_000), (status.next_index, status.buffered_us))


@POINTS.check(
    "overlap", "A frame that begins with known points and goes on is points-gap.", moves=True
)
async def overlap(bench: Bench) -> None:
    here = await _here(bench)
    points = _still(here, 4)
    await bench.talk.points(points[:3])
    await _refused(bench, "points-gap", *points[2:], first=2)


@POINTS.check("same-time", "Two points at one time are point-order.", moves=True)
async def same_time(bench: Bench) -> None:
    here = await _here(bench)
    await _refused(bench, "point-order", Point(0, here, 0), Point(0, here, 0))


@POINTS.check(
    "back-in-time", "A point before the newest of an earlier frame is point-order.", moves=True
)
async def back_in_time(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 3))
    await _refused(bench, "point-order", Point(15_000, here, 0), first=3)


@POINTS.check("last-moving", "A last point with a velocity is last-moving.", moves=True)
async def last_moving(bench: Bench) -> None:
    here = await _here(bench)
    await _refused(bench, "last-moving", Point(0, here, 0), Point(SECOND, here, 1, last=True))


@POINTS.check("after-last", "A point after the last is after-last, in the same frame.", moves=True)
async def after_last(bench: Bench) -> None:
    here = await _here(bench)
    points = (Point(0, here, 0), Point(SECOND, here, 0, last=True), Point(2 * SECOND, here, 0))
    await _refused(bench, "after-last", *points)


@POINTS.check(
    "after-last-later", "A point after the last is after-last, in a later frame.", moves=True
)
async def after_last_later(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points([Point(0, here, 0), Point(SECOND, here, 0, last=True)])
    await _refused(bench, "after-last", Point(2 * SECOND, here, 0), first=2)


@POINTS.check("output-in-motion", "A moving point that switches outputs is refused.", moves=True)
async def output_in_motion(bench: Bench) -> None:
    here = await _here(bench)
    point = Point(SECOND, here, 1, output_mask=1, output_values=1)
    await _refused(bench, "output-in-motion", Point(0, here, 0), point)


@POINTS.check(
    "last-first", "last-moving goes before output-in-motion, that before range.", moves=True
)
async def last_first(bench: Bench) -> None:
    here = await _here(bench)
    far = 2**52
    both = Point(SECOND, far, 1, last=True, output_mask=1)
    await _refused(bench, "last-moving", Point(0, here, 0), both)
    one = Point(SECOND, far, 1, output_mask=1)
    await _refused(bench, "output-in-motion", Point(0, here, 0), one)


async def _ranged(bench: Bench) -> tuple[int, int]:
    """Where it stands, and the end of a range of its own, some degrees away."""
    here = await _here(bench)
    end = here + 2 * bench.small
    await bench.configured(range_low=here - 2 * bench.small, range_high=end)
    return here, end


@POINTS.check(
    "range", "A position 2 counts beyond the range is range; 1 count is rounding.", moves=True
)
async def beyond_range(bench: Bench) -> None:
    here, end = await _ranged(bench)
    await _refused(bench, "range", Point(0, here, 0), Point(20 * SECOND, end + 2, 0))
    points = [Point(0, here, 0), Point(20 * SECOND, end + 1, 0)]
    equal("answer", "ack", await bench.talk.points(points))


@POINTS.check(
    "range-bulge", "A cubic that leaves the range between two points is range.", moves=True
)
async def range_bulge(bench: Bench) -> None:
    here, end = await _ranged(bench)
    speed = bench.small // 4
    # Outward at the end of the range, so that the way back begins beyond it.
    points = (Point(0, here, 0), Point(20 * SECOND, end, speed), Point(40 * SECOND, here, 0))
    await _refused(bench, "range", *points)


@POINTS.check("range-first", "range goes before segment.", moves=True)
async def range_first(bench: Bench) -> None:
    here, end = await _ranged(bench)
    await _refused(bench, "range", Point(0, here, 0), Point(1, end + 5, 0))


@SEGMENTS.check("spacing", "Points 999 µs apart are segment, 1000 µs apart are taken.", moves=True)
async def spacing(bench: Bench) -> None:
    here = await _here(bench)
    await _refused(bench, "segment", Point(0, here, 0), Point(999, here, 0))
    equal("answer", "ack", await bench.talk.points(_still(here, 2, 1_000)))


def _segment(*, share_v: float, share_a: float, is_taken: bool) -> Make:
    """A segment from rest at a share of what is allowed of velocity or acceleration."""

    async def make(bench: Bench) -> None:
        here = await _here(bench)
        await bench.configured(range_low=None, range_high=None)
        v, a = bench.configuration.velocity, 0.8 * bench.configuration.acceleration
        if share_v:
            # At the peak 1.5·Δ/h; so long that the acceleration is far below its limit.
            h_us = max(SECOND, round(20.0 * v / a * 1e6))
            rise = round(share_v * v * h_us / 1e6 / 1.5)
        else:
            # At the ends 6·Δ/h²; so short that the velocity is far below its limit.
            h_us = min(SECOND, round(v / a * 1e6))
            rise = round(share_a * a * (h_us / 1e6) ** 2 / 6.0)
        points = (Point(0, here, 0), Point(h_us, here + rise, 0, last=True))
        if is_taken:
            equal("answer", "ack", await bench.talk.points(points))
        else:
            await _refused(bench, "segment", *points)

    return make


SEGMENTS.add(
    "velocity", "A segment 1 % beyond the velocity is segment.",
    _segment(share_v=1.01, share_a=0.0, is_taken=False), moves=True,
)  # fmt: skip
SEGMENTS.add(
    "velocity-limit", "A segment at 99.9 % of the velocity is taken.",
    _segment(share_v=0.999, share_a=0.0, is_taken=True), moves=True,
)  # fmt: skip
SEGMENTS.add(
    "acceleration", "A segment 1 % beyond 0.8 of the acceleration is segment.",
    _segment(share_v=0.0, share_a=1.01, is_taken=False), moves=True,
)  # fmt: skip
SEGMENTS.add(
    "acceleration-limit", "A segment at 99.9 % of 0.8 of the acceleration is taken.",
    _segment(share_v=0.0, share_a=0.999, is_taken=True), moves=True,
)  # fmt: skip


@SEGMENTS.check(
    "seam", "The segment from the newest point of the frame before is checked.", moves=True
)
async def seam(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2, SECOND))
    await _refused(bench, "segment", Point(SECOND + 500, here, 0), first=2)


@SEGMENTS.check(
    "middle-of-frame", "One wrong segment in a frame: none of its points is taken.", moves=True
)
async def middle_of_frame(bench: Bench) -> None:
    here = await _here(bench)
    points = [*_still(here, 5), Point(40_500, here, 0), *_still(here, 5, first=5)]
    await _refused(bench, "segment", *points)


@BUFFER.check("full-frame", "A frame of 128 points is taken.", moves=True)
async def full_frame(bench: Bench) -> None:
    if bench.welcome.welcome.capabilities.point_capacity < MAX_POINTS_PER_FRAME:
        raise NotMade("its buffer holds fewer points")
    here = await _here(bench)
    equal("answer", "ack", await bench.talk.points(_still(here, MAX_POINTS_PER_FRAME)))


async def _one_too_many(bench: Bench, *, leaving: int) -> None:
    """Fill its buffer but for `leaving` points, then offer one more than that. Raises Wrong."""
    count = bench.welcome.welcome.capabilities.point_capacity
    if count > 20_000:
        raise NotMade(f"it tells {count} points, too many to try")
    points = _still(await _here(bench), count + 1)
    first = count - leaving
    equal("answer", "ack", await bench.talk.points(points[:first]))
    await _refused(bench, "buffer-full", *points[first:], first=first)


@BUFFER.check(
    "capacity", "As many points as it tells are taken; one more is buffer-full.", moves=True
)
async def capacity(bench: Bench) -> None:
    await _one_too_many(bench, leaving=0)


@BUFFER.check(
    "full-whole", "A frame that fits in part only is buffer-full, and none is taken.", moves=True
)
async def full_whole(bench: Bench) -> None:
    await _one_too_many(bench, leaving=1)


@BUFFER.check("discarded", "A discard empties the buffer.", moves=True)
async def discarded(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 3))
    await bench.talk.require(Discard())
    status = await bench.talk.drive()
    equal("trajectory, next index", (0, 0), (status.trajectory, status.next_index))
    equal("answer", "ack", await bench.talk.points(_still(here, 2), trajectory=8))


@MESSAGES.check(
    "prepare", "A prepare with two points at the place is acknowledged: prepared.", moves=True
)
async def prepare(bench: Bench) -> None:
    await bench.talk.home()
    await bench.talk.points(await there_and_back(bench))
    await bench.talk.require(Prepare(trajectory=7))
    equal("state", JointState.PREPARED, (await bench.talk.drive()).state)
    await bench.talk.require(Prepare(trajectory=7))


@MESSAGES.check(
    "prepare-missing",
    "A prepare with one point that is not the last is points-missing.",
    moves=True,
)
async def prepare_missing(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.require(Prepare(trajectory=7), "points-missing")
    await bench.talk.points(_still(here, 1))
    await bench.talk.require(Prepare(trajectory=7), "points-missing")


@MESSAGES.check(
    "prepare-position", "A prepare elsewhere than at the first point is position.", moves=True
)
async def prepare_position(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here + bench.inward(here), 2))
    await bench.talk.require(Prepare(trajectory=7), "position")


@MESSAGES.check(
    "prepare-other", "A prepare of another trajectory is trajectory-loaded.", moves=True
)
async def prepare_other(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    await bench.talk.require(Prepare(trajectory=8), "trajectory-loaded")


@MESSAGES.check("prepare-stopped", "A prepare with a stop latched is stop-latched.", moves=True)
async def prepare_stopped(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.drive(stop=StopLevel.STOP)
    await bench.talk.points(_still(here, 2))
    await bench.talk.require(Prepare(trajectory=7), "stop-latched")
    await bench.talk.drive()
    await bench.talk.require(Clear())
    await bench.talk.require(Prepare(trajectory=7))


@MESSAGES.check(
    "configure-loaded", "A configure with a trajectory loaded is trajectory-loaded.", moves=True
)
async def configure_loaded(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    await bench.talk.require(bench.body, "trajectory-loaded")


@MESSAGES.check("discard-prepared", "A discard in prepared leads to ready.", moves=True)
async def discard_prepared(bench: Bench) -> None:
    here = await _here(bench)
    await bench.talk.points(_still(here, 2))
    await bench.talk.require(Prepare(trajectory=7))
    await bench.talk.require(Discard())
    status = await bench.talk.drive()
    equal("state, trajectory", (JointState.READY, 0), (status.state, status.trajectory))
