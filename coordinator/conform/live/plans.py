"""Plans at rest: arm, advance and go, and what is refused."""

import asyncio
from dataclasses import replace
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, equal, require
from coordinator.conform.course import DELAY_US, FULL, Run, armed, held, prepared
from coordinator.conform.talk import LEASE_US, told
from coordinator.links.clock import arm_now_us
from protocol.constants import FIRST_PERMIT_US, PATH_TOLERANCE_US, RATE_MIN_PPM
from protocol.drive import StopLevel
from protocol.pathtime import RateChange
from protocol.states import AT_REST, JointState
from protocol.status import Reason, Status

PLANS: Final = Section("plans")
INSTANT_US: Final = 5_000
"""Between a start's instant and what is told of it: the map was made seconds before."""


async def _refused(run: Run, reason: Reason) -> Status:
    """Raises Wrong unless the newest plan is not complied with, for a reason."""
    status = await run.bench.talk.drive(**run.drive())
    equal("reason and plan", (reason.name, 0), (status.reason.name, status.plan))
    return status


async def _starts_not(run: Run, for_s: float = DELAY_US * 1e-6 + 0.3) -> None:
    """Raises Wrong if it moves while its drive is repeated."""
    for status in await run.bench.talk.keep(for_s, **run.drive()):
        require(
            status.state in AT_REST and status.path_us == run.plan.stand_us, "rest", told(status)
        )
    events = [event["event"] for event in run.bench.talk.stream.events]
    require("started" not in events, "no start", ", ".join(events))


@PLANS.check("arm", "An arm where it stands is complied with: armed, plan echoed.", moves=True)
async def arm(bench: Bench) -> None:
    run = await prepared(bench)
    status = await run.arm()
    equal("reason", Reason.NONE, status.reason)


@PLANS.check("arm-older", "A plan of a lower number than one seen before is not-armed.", moves=True)
async def arm_older(bench: Bench) -> None:
    run = await armed(bench)
    first = run.plan
    await run.arm()
    run.plan = first
    await _refused(run, Reason.NOT_ARMED)


@PLANS.check("arm-other", "A plan of another trajectory is not-armed.", moves=True)
async def arm_other(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(trajectory=8)
    await _refused(run, Reason.NOT_ARMED)


@PLANS.check("arm-behind", "An arm below path time 0 is elsewhere.", moves=True)
async def arm_behind(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(-1)
    await _refused(run, Reason.ELSEWHERE)


@PLANS.check("arm-beyond", "An arm beyond the points in the buffer is points-missing.", moves=True)
async def arm_beyond(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(run.end_us + 1)
    await _refused(run, Reason.POINTS_MISSING)


@PLANS.check("arm-passed", "An arm behind where it holds is elsewhere.", moves=True)
async def arm_passed(bench: Bench) -> None:
    run, status = await held(bench)
    run.plan = bench.talk.arm(status.path_us - PATH_TOLERANCE_US - 1)
    await _refused(run, Reason.ELSEWHERE)


@PLANS.check(
    "arm-tolerance",
    "An arm within 2 µs of where it holds is complied with, at its word.",
    moves=True,
)
async def arm_tolerance(bench: Bench) -> None:
    run, status = await held(bench)
    wanted = status.path_us - PATH_TOLERANCE_US
    armed_status = await run.arm(wanted)
    equal("path time", wanted, armed_status.path_us)


@PLANS.check(
    "disarm", "An armed joint under a drive without plan goes back to prepared.", moves=True
)
async def disarm(bench: Bench) -> None:
    await armed(bench)
    status = await bench.talk.drive(energise=True)
    equal("state, plan", (JointState.PREPARED, 0), (status.state, status.plan))


@PLANS.check("disarm-held", "Further on along its path it goes back to held.", moves=True)
async def disarm_held(bench: Bench) -> None:
    run, status = await held(bench)
    await run.arm(status.path_us)
    equal("state", JointState.HELD, (await bench.talk.drive(energise=True)).state)


@PLANS.check(
    "go", "A go is complied with, and at its instant it starts: event started.", moves=True
)
async def go(bench: Bench) -> None:
    run = await armed(bench)
    change = run.go(FIRST_PERMIT_US)
    status = await bench.talk.drive(**run.drive())
    equal("state, plan", (JointState.ARMED, run.plan.number), (status.state, status.plan))
    await run.until("moving", JointState.MOVING, 2.0)
    event = await bench.talk.stream.event("started")
    equal(
        "trajectory, plan, path time",
        (7, run.plan.number, 0),
        (event["trajectory"], event["plan"], event["path_us"]),
    )
    clock_map = bench.talk.map
    assert clock_map is not None
    expected_us = clock_map.to_joint(change.at_us)
    require(
        abs(event["start_us"] - expected_us) <= INSTANT_US,
        f"a start at joint time {expected_us:.0f} µs, within {INSTANT_US} µs",
        event["start_us"],
    )
    require(event["permission_us"] <= event["start_us"], "permission before the start", event)


@PLANS.check(
    "go-not-armed", "A go to a joint that is prepared and not armed is not-armed.", moves=True
)
async def go_not_armed(bench: Bench) -> None:
    run = await prepared(bench)
    run.go(run.end_us)
    await _refused(run, Reason.NOT_ARMED)
    await _starts_not(run)


@PLANS.check(
    "go-elsewhere", "A go from another path time than where it stands is elsewhere.", moves=True
)
async def go_elsewhere(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us)
    assert run.plan.change is not None
    run.plan = replace(run.plan, change=replace(run.plan.change, path_us=1))
    await _refused(run, Reason.ELSEWHERE)


@PLANS.check("go-late", "A go whose instant has passed is late, and starts nothing.", moves=True)
async def go_late(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, in_us=-20_000)
    await _refused(run, Reason.LATE)
    await bench.talk.keep(0.3, **run.drive())
    await _starts_not(run, 0.3)


@PLANS.check("go-rate-before", "A go from another rate than 0 is not-armed.", moves=True)
async def go_rate_before(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us)
    assert run.plan.change is not None
    run.plan = replace(run.plan, change=replace(run.plan.change, before_ppm=1))
    await _refused(run, Reason.NOT_ARMED)
    await _starts_not(run)


@PLANS.check("go-slow", "A go to a rate below 50000 ppm is not-armed.", moves=True)
async def go_slow(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, after_ppm=RATE_MIN_PPM - 1)
    await _refused(run, Reason.NOT_ARMED)
    await _starts_not(run)


@PLANS.check("go-same-number", "A go with the number of its arm is not-armed.", moves=True)
async def go_same_number(bench: Bench) -> None:
    run = await armed(bench)
    number = run.plan.number
    run.go(run.end_us)
    run.plan = replace(run.plan, number=number)
    await _refused(run, Reason.NOT_ARMED)


@PLANS.check(
    "go-no-permit", "Without a permit beyond the start it misses it: armed, late.", moves=True
)
async def go_no_permit(bench: Bench) -> None:
    run = await armed(bench)
    run.go(0)
    status = await bench.talk.drive(**run.drive())
    equal("plan", run.plan.number, status.plan)
    status = (await bench.talk.keep(DELAY_US * 1e-6 + 0.3, **run.drive()))[-1]
    equal("state, plan", (JointState.ARMED, 0), (status.state, status.plan))
    run.permit_us = run.end_us
    await _starts_not(run, 0.4)


@PLANS.check("go-late-permit", "A start that was missed is late in the status.", moves=True)
async def go_late_permit(bench: Bench) -> None:
    run = await armed(bench)
    run.go(0)
    await bench.talk.drive(**run.drive())
    await asyncio.sleep(DELAY_US * 1e-6 + 0.2)
    await _refused(run, Reason.LATE)


@PLANS.check("go-again", "A repeat of a go, every field of it, keeps the start.", moves=True)
async def go_again(bench: Bench) -> None:
    run = await armed(bench)
    run.go(FIRST_PERMIT_US, in_us=600_000)
    for status in await bench.talk.keep(0.3, **run.drive()):
        equal("plan", run.plan.number, status.plan)
    await run.until("moving", JointState.MOVING, 2.0)


@PLANS.check(
    "go-other-fields", "A go's number with other fields drops the start, for good.", moves=True
)
async def go_other_fields(bench: Bench) -> None:
    run = await armed(bench)
    change = run.go(run.end_us, in_us=800_000)
    await bench.talk.drive(**run.drive())
    first = run.plan
    run.plan = replace(first, change=replace(change, at_us=change.at_us + 1_000))
    status = await bench.talk.drive(**run.drive())
    equal("plan", 0, status.plan)
    run.plan = first
    equal("plan", 0, (await bench.talk.drive(**run.drive())).plan)
    await _starts_not(run, 1.0)


@PLANS.check(
    "go-twice", "One arm serves one go: a second one is refused without another arm.", moves=True
)
async def go_twice(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, in_us=800_000)
    await bench.talk.drive(**run.drive())
    run.go(run.end_us, in_us=800_000)
    equal("plan", 0, (await bench.talk.drive(**run.drive())).plan)
    await _starts_not(run, 1.0)


@PLANS.check(
    "go-after-refused", "After a refused go only an arm of a higher number helps.", moves=True
)
async def go_after_refused(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, in_us=-20_000)
    await _refused(run, Reason.LATE)
    run.go(run.end_us)
    equal("plan", 0, (await bench.talk.drive(**run.drive())).plan)
    await _starts_not(run)
    await run.arm()
    await run.moving(FIRST_PERMIT_US)


@PLANS.check("go-dropped", "An arm of a newer number drops the start.", moves=True)
async def go_dropped(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us)
    await bench.talk.drive(**run.drive())
    await run.arm()
    await _starts_not(run)


@PLANS.check("pending-busy", "With a start pending, requests are not-at-rest.", moves=True)
async def pending_busy(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, in_us=900_000)
    await bench.talk.drive(**run.drive())
    for body in (b'{"type":"discard"}', b'{"type":"prepare","trajectory":7}', b'{"type":"clear"}'):
        await bench.talk.require(body, "not-at-rest")


@PLANS.check("pending-silence", "A pending start is dropped by 1.5 s of silence.", moves=True)
async def pending_silence(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us, in_us=2_200_000)
    await bench.talk.drive(**run.drive())
    await asyncio.sleep(1.9)
    equal("plan", 0, (await bench.talk.drive(**run.drive())).plan)
    await _starts_not(run, 0.8)


@PLANS.check(
    "pending-stop",
    "A stop with a start pending: nothing starts, and the path is forgotten.",
    moves=True,
)
async def pending_stop(bench: Bench) -> None:
    run = await armed(bench)
    run.go(run.end_us)
    await bench.talk.drive(**run.drive())
    status = await bench.talk.drive(stop=StopLevel.STOP)
    equal("state, trajectory", (JointState.READY, 0), (status.state, status.trajectory))
    await bench.talk.stream.event("stopped")
    for status in await bench.talk.keep(DELAY_US * 1e-6 + 0.3, **run.drive()):
        require(status.state is JointState.READY, "rest", told(status))


@PLANS.check(
    "advance", "An arm ahead, with an expiry, advances to exactly there: armed.", moves=True
)
async def advance(bench: Bench) -> None:
    run = await prepared(bench)
    seen = len(bench.talk.seen)
    status = await run.arm(40_000)
    equal("path time", 40_000, status.path_us)
    states = {one.state for one in bench.talk.seen[seen:]}
    require(JointState.ADVANCING in states, "advancing on the way", states)


@PLANS.check("advance-no-expiry", "An arm ahead without an expiry waits, reason none.", moves=True)
async def advance_no_expiry(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(40_000)
    fields = run.drive()
    del fields["within_us"]
    for status in await bench.talk.keep(0.4, **fields):
        equal("state, reason", (JointState.PREPARED, Reason.NONE), (status.state, status.reason))


@PLANS.check(
    "advance-expiry", "Without another drive an advance ends by its expiry: held.", moves=True
)
async def advance_expiry(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(run.end_us // 2)
    await run.until("advancing", JointState.ADVANCING, 3.0)
    await asyncio.sleep(LEASE_US * 1e-6 + 0.8)
    status = await bench.talk.drive()
    equal("state", JointState.HELD, status.state)
    equal("cause", "expiry", (await bench.talk.stream.event("held"))["cause"])


@PLANS.check("advance-other", "An arm to another place ends an advance: withdrawn.", moves=True)
async def advance_other(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(run.end_us // 2)
    await run.until("advancing", JointState.ADVANCING, 3.0)
    run.plan = bench.talk.arm(run.end_us // 2 + 10)
    status = await bench.talk.drive(**run.drive())
    require(status.state in (JointState.RAMPING, JointState.HELD), "ramping", told(status))
    equal("cause", "withdrawn", (await bench.talk.stream.event("held"))["cause"])


@PLANS.check("advance-go", "A go while it advances makes it ramp.", moves=True)
async def advance_go(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(run.end_us // 2)
    await run.until("advancing", JointState.ADVANCING, 3.0)
    run.go(run.end_us)
    status = await bench.talk.drive(**run.drive())
    require(status.state in (JointState.RAMPING, JointState.HELD), "ramping", told(status))


@PLANS.check("advance-rate", "An advance is no faster than rate 0.05.", moves=True)
async def advance_rate(bench: Bench) -> None:
    run = await prepared(bench)
    run.plan = bench.talk.arm(run.end_us // 2)
    begun = await run.until("advancing", JointState.ADVANCING, 3.0)
    begun_us = arm_now_us()
    last = (await bench.talk.keep(0.8, **run.drive()))[-1]
    passed_us = arm_now_us() - begun_us + 200_000
    require(
        0 < last.path_us - begun.path_us <= 0.05 * passed_us + PATH_TOLERANCE_US,
        f"at most {0.05 * passed_us:.0f} µs of path",
        last.path_us - begun.path_us,
    )


@PLANS.check("resume", "From held it is armed where it stands, and goes on to the end.", moves=True)
async def resume(bench: Bench) -> None:
    run, status = await held(bench)
    await run.arm(status.path_us)
    await run.moving(past_us=status.path_us + 1)
    event = await bench.talk.stream.event("started")
    if event["path_us"] == 0:  # of the first start
        event = await bench.talk.stream.event("started")
    equal("path time", status.path_us, event["path_us"])
    await run.until("finished", JointState.FINISHED)


@PLANS.check(
    "override", "An override is carried out from its instant: slower from there on.", moves=True
)
async def override(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving(run.end_us, past_us=600_000)
    await _override(run, 500_000)
    status = await bench.talk.drive(**run.drive())
    equal("state, plan", (JointState.MOVING, run.plan.number), (status.state, status.plan))
    settled_us = run.course.settled_us
    while arm_now_us() < settled_us + 50_000:
        status = await bench.talk.drive(**run.drive())
        await asyncio.sleep(0.04)
    equal("state", JointState.MOVING, status.state)
    await _as_planned(run)


async def _override(run: Run, after_ppm: int, *, wrong_us: int = 0) -> None:
    course = run.course
    at_us = max(arm_now_us() + 250_000, round(course.settled_us) + 1_000)
    change = RateChange(at_us, round(course.at(at_us)[0]) + wrong_us, FULL, after_ppm)
    number = run.bench.talk.arm().number
    run.plan = replace(run.plan, number=number, change=change)


async def _as_planned(run: Run) -> None:
    """Raises Wrong unless path time runs as the change says, at the instant of one status."""
    talk = run.bench.talk
    status = await talk.drive(**run.drive())
    answered, clock_map = talk.answered, talk.map
    assert answered is not None
    assert clock_map is not None
    arm_us = clock_map.to_arm(answered.t2_us)
    expected_us, rate = run.course.at(arm_us)
    off_us = status.path_us - expected_us
    sure_us = INSTANT_US * rate + PATH_TOLERANCE_US
    require(
        abs(off_us) <= sure_us,
        f"path time {expected_us:.0f} µs, within {sure_us:.0f} µs",
        f"{status.path_us} µs",
    )


@PLANS.check(
    "course", "Path time runs by the ramp and its rate, as the page computes it.", moves=True
)
async def course(bench: Bench) -> None:
    run = await armed(bench)
    await run.moving(run.end_us, past_us=20_000)
    for _ in range(8):
        await _as_planned(run)
        await asyncio.sleep(0.1)


@PLANS.check(
    "override-wrong", "An override whose path time does not fit makes it ramp: late.", moves=True
)
async def override_wrong(bench: Bench) -> None:
    run = await armed(bench, legs=4)
    await run.moving(run.end_us, past_us=600_000)
    await _override(run, 500_000, wrong_us=1_000)
    status = await bench.talk.drive(**run.drive())
    equal("state, reason", (JointState.RAMPING, Reason.LATE), (status.state, status.reason))
    equal("cause", "late", (await bench.talk.stream.event("held"))["cause"])
