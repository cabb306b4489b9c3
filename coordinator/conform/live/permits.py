"""Permits: how far it moves, what ends it, and where it comes to rest."""

import asyncio
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, equal, require
from coordinator.conform.course import Run, armed
from coordinator.conform.stream import greet, require_reject, send
from coordinator.conform.talk import told
from protocol.constants import FIRST_PERMIT_US, PATH_TOLERANCE_US
from protocol.drive import Mode, StopLevel
from protocol.messages import Clear, Discard
from protocol.pathtime import Course
from protocol.points import Point, PointsFrame, encode_points
from protocol.states import AT_REST, JointState
from protocol.status import Reason

PERMITS: Final = Section("permits")
PLANS: Final = Section("plans")
STOPS: Final = Section("stops")
SESSIONS: Final = Section("sessions")


def _fall(run: Run, permit_us: int) -> Course:
    """The fall from the end of a permit."""
    when = run.course.when(permit_us)
    assert when is not None
    return run.course.fall(when, permit_us)


@PERMITS.check(
    "finish", "With a permit to the end it finishes there exactly: event finished.", moves=True
)
async def finish(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    status = await run.until("finished", JointState.FINISHED)
    equal(
        "path time, position",
        (run.end_us, run.points[-1].position),
        (status.path_us, status.position),
    )
    equal(
        "position", run.points[-1].position, (await bench.talk.stream.event("finished"))["position"]
    )


@PERMITS.check(
    "end", "At the end of its permit it falls to rest, where the ramp leads.", moves=True
)
async def end(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(FIRST_PERMIT_US)
    status = await run.until("held", JointState.HELD)
    expected_us = _fall(run, FIRST_PERMIT_US).settled_path_us
    require(
        abs(status.path_us - expected_us) <= PATH_TOLERANCE_US,
        f"rest at path time {expected_us:.1f} µs, within {PATH_TOLERANCE_US} µs",
        status.path_us,
    )
    event = await bench.talk.stream.event("held")
    equal(
        "cause, where the fall began",
        ("permit", FIRST_PERMIT_US),
        (event["cause"], event["ramp_began_us"]),
    )
    equal("permit in the status", FIRST_PERMIT_US, status.permit_us)


@PERMITS.check("alone", "With no drive any more it stops at its permit by itself.", moves=True)
async def alone(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(FIRST_PERMIT_US)
    await asyncio.sleep(1.3)
    status = await bench.talk.drive(**run.drive())
    equal("state", JointState.HELD, status.state)
    equal("cause", "permit", (await bench.talk.stream.event("held"))["cause"])


@PERMITS.check(
    "raised", "A permit that is raised in time lets it go on without a fall.", moves=True
)
async def raised(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(FIRST_PERMIT_US)
    run.permit_us = run.end_us
    await run.until("finished", JointState.FINISHED)
    others = [event["event"] for event in bench.talk.stream.events]
    require("held" not in others, "no hold", ", ".join(others))


@PERMITS.check("lowered", "Beyond a permit that is lowered it falls at once: held.", moves=True)
async def lowered(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(past_us=150_000)
    run.permit_us = 1_000
    status = await bench.talk.drive(**run.drive())
    require(status.state in (JointState.RAMPING, JointState.HELD), "ramping", told(status))
    equal("cause", "permit", (await bench.talk.stream.event("held"))["cause"])


@PERMITS.check(
    "not-in-fall", "In a fall it takes no permit: it comes to rest and stays.", moves=True
)
async def not_in_fall(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(past_us=150_000)
    run.permit_us = 1_000
    await bench.talk.drive(**run.drive())
    run.permit_us = run.end_us
    status = await run.until("held", JointState.HELD, 5.0)
    equal("plan", 0, status.plan)
    for status in await bench.talk.keep(0.3, **run.drive()):
        equal("state", JointState.HELD, status.state)


@PERMITS.check(
    "levelled",
    "Of the newest permit it tells what it obeys: the points it lacks count.",
    moves=True,
)
async def levelled(bench: Bench) -> None:
    # Without the last point it must be able to fall before the newest one.
    run = await armed(bench, legs=2)
    await bench.talk.drive(energise=True)
    await bench.talk.require(Discard())
    here = run.points[0].position
    steps = [Point(k * 1_000_000, here, 0) for k in range(4)]
    await bench.talk.require(encode_points(PointsFrame(9, 0, tuple(steps))))
    await bench.talk.require(b'{"type":"prepare","trajectory":9}')
    run.plan = bench.talk.arm(trajectory=9)
    status = await bench.talk.until(
        "armed", lambda s: s.state is JointState.ARMED and s.plan > 0, 3.0, **run.drive()
    )
    run.go(9_000_000, in_us=2_000_000)
    status = await bench.talk.drive(**run.drive())
    expected_us = int(3_000_000 - run.ramp.fall_path(1.0))
    require(
        status.permit_us is not None and abs(status.permit_us - expected_us) <= 1,
        f"an effective permit of {expected_us} µs",
        status.permit_us,
    )


@PERMITS.check("silence", "After 1.5 s without a drive it falls: held, cause silence.", moves=True)
async def silence(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving(run.end_us)
    await asyncio.sleep(1.5 + run.ramp.duration_us * 1e-6 + 0.4)
    status = await bench.talk.drive()
    equal("state", JointState.HELD, status.state)
    equal("cause", "silence", (await bench.talk.stream.event("held"))["cause"])


@PERMITS.check(
    "stream-no-drive", "Frames of the stream do not count as drives for the 1.5 s.", moves=True
)
async def stream_no_drive(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving(run.end_us)
    for _ in range(round((1.5 + run.ramp.duration_us * 1e-6 + 0.4) / 0.1)):
        await bench.talk.ask(b'{"type":"blink"}')
        await asyncio.sleep(0.1)
    equal("state", JointState.HELD, (await bench.talk.drive()).state)


@PLANS.check(
    "withdrawn", "Under a drive without plan a moving joint ramps at once: withdrawn.", moves=True
)
async def withdrawn(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    status = await bench.talk.drive(mode=Mode.PATH, energise=True)
    equal("state, reason", (JointState.RAMPING, Reason.NONE), (status.state, status.reason))
    equal("cause", "withdrawn", (await bench.talk.stream.event("held"))["cause"])


@PLANS.check(
    "other-mode", "Under a drive of another mode a moving joint ramps at once.", moves=True
)
async def other_mode(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    equal("state", JointState.RAMPING, (await bench.talk.drive(mode=Mode.NONE)).state)


@PLANS.check("no-permit", "Under a drive without permit a moving joint ramps at once.", moves=True)
async def no_permit(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    fields = run.drive()
    del fields["permit_us"]
    equal("state", JointState.RAMPING, (await bench.talk.drive(**fields)).state)


@PLANS.check("arm-moving", "An arm to a moving joint makes it ramp: not-armed.", moves=True)
async def arm_moving(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    run.plan = bench.talk.arm()
    status = await bench.talk.drive(**run.drive())
    equal(
        "state, reason",
        (JointState.RAMPING, Reason.NOT_ARMED),
        (status.state, status.reason),
    )


@PLANS.check("finished-arm", "An arm in finished is not-armed.", moves=True)
async def finished_arm(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    await run.until("finished", JointState.FINISHED)
    run.plan = bench.talk.arm(run.end_us)
    status = await bench.talk.drive(**run.drive())
    equal("reason", Reason.NOT_ARMED, status.reason)


@PLANS.check("busy", "While it moves: requests are not-at-rest, and blink is not.", moves=True)
async def busy(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving()
    for body in (bench.body, b'{"type":"discard"}', b'{"type":"clear"}'):
        await bench.talk.require(body, "not-at-rest")
    await bench.talk.require(b'{"type":"prepare","trajectory":7}', "not-at-rest")
    await bench.talk.require(b'{"type":"blink"}')


@SESSIONS.check("busy", "While it moves another session is rejected with busy.", moves=True)
async def session_busy(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving()
    for coordinator in (bench.coordinator, bytes(16)):
        greeting = await greet(bench.place, bench.talk.session ^ 5, coordinator)
        await send(greeting.socket, greeting.proof())
        await require_reject(greeting.socket, "busy")
    status = await bench.talk.drive(**run.drive())
    equal("state", JointState.MOVING, status.state)


@SESSIONS.check(
    "stream-moving",
    "Another stream of the session in force, while it moves, is accepted.",
    moves=True,
)
async def stream_moving(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving()
    stream = await bench.again()
    welcome = stream.greeting.welcome
    equal("trajectory, next index", (7, 5), (welcome.trajectory, welcome.next_index))
    equal("state", JointState.MOVING, (await bench.talk.drive(**run.drive())).state)


@STOPS.check(
    "moving",
    "A stop while it moves brakes it off its path: ready, trajectory forgotten.",
    moves=True,
)
async def stop_moving(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(past_us=150_000)
    status = await bench.talk.drive(stop=StopLevel.STOP)
    equal("stop", StopLevel.STOP, status.stop)
    status = await bench.talk.until("rest", lambda s: s.state in AT_REST, 5.0, stop=StopLevel.STOP)
    equal(
        "state, trajectory, homed",
        (JointState.READY, 0, True),
        (status.state, status.trajectory, status.homed),
    )
    event = await bench.talk.stream.event("stopped")
    equal("level, position", (1, status.position), (event["level"], event["position"]))


@STOPS.check(
    "release", "Stop level 2 at rest lets go of the drivers: unhomed, level told.", moves=True
)
async def stop_and_release(bench: Bench) -> None:
    await bench.talk.home()
    status = await bench.talk.until(
        "drivers off", lambda s: not s.energised, 3.0, stop=StopLevel.STOP_AND_RELEASE
    )
    equal(
        "state, homed, stop",
        (JointState.UNHOMED, False, 2),
        (status.state, status.homed, int(status.stop)),
    )


@STOPS.check("release-at-once", "Stop level 3 lets go of the drivers at once.", moves=True)
async def release(bench: Bench) -> None:
    await bench.talk.home()
    status = await bench.talk.drive(stop=StopLevel.RELEASE)
    equal(
        "state, energised, stop",
        (JointState.UNHOMED, False, 3),
        (status.state, status.energised, int(status.stop)),
    )
    equal("level", 3, (await bench.talk.stream.event("stopped"))["level"])


@STOPS.check("highest", "The highest level heard is latched: 1 after 2 leaves 2.", moves=True)
async def highest(bench: Bench) -> None:
    await bench.talk.drive(stop=StopLevel.STOP_AND_RELEASE)
    equal("stop", 2, int((await bench.talk.drive(stop=StopLevel.STOP)).stop))


@STOPS.check(
    "drivers-stay-off", "While level 2 is latched no drive turns the drivers on.", moves=True
)
async def drivers_stay_off(bench: Bench) -> None:
    await bench.talk.drive(stop=StopLevel.STOP_AND_RELEASE)
    equal("energised", False, (await bench.talk.drive(energise=True)).energised)
    await bench.talk.require(Clear())
    equal("energised", True, (await bench.talk.drive(energise=True)).energised)
