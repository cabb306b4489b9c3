"""Jog: the newest drive counts, its expiry ends it, and the range and its limits hold."""

import asyncio
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import NotMade, Section, equal, require
from coordinator.conform.course import prepared
from coordinator.conform.talk import LEASE_US, Fields, told
from protocol.constants import EXPIRY_US
from protocol.drive import Mode, StopLevel
from protocol.states import AT_REST, JointState

JOG: Final = Section("jog")
LATE_S: Final = 0.5
"""For the expiry's drive on its way, and what the joint's clock may be off."""


def _jog(velocity: int, target: int | None = None) -> Fields:
    return {
        "mode": Mode.JOG,
        "energise": True,
        "jog_velocity": velocity,
        "jog_target": target,
        "within_us": LEASE_US,
    }


async def _ready(bench: Bench) -> tuple[int, int]:
    """Homed; where it stands, and the sign of the way with room."""
    position = (await bench.talk.home()).position
    return position, bench.inward(position)


async def _still(bench: Bench, fields: Fields, for_s: float = 0.4) -> None:
    """Raises Wrong if it moves by a drive."""
    before = await bench.talk.drive()
    for status in await bench.talk.keep(for_s, **fields):
        require(
            status.state is not JointState.JOGGING and status.position == before.position,
            "no motion",
            told(status),
        )


@JOG.check("moves", "A jog moves at the velocity asked for, in its direction.", moves=True)
async def moves(bench: Bench) -> None:
    position, way = await _ready(bench)
    status = await bench.jogged(way * bench.slow)
    equal("state", JointState.JOGGING, status.state)
    later = await bench.talk.drive(**_jog(way * bench.slow))
    require((later.position - position) * way > 0, "a position further on", told(later))


@JOG.check("back", "A jog the other way turns it round.", moves=True)
async def back(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.jogged(way * bench.slow)
    await bench.jogged(-way * bench.slow)


@JOG.check("velocity-0", "Velocity 0 brakes it.", moves=True)
async def velocity_0(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.jogged(way * bench.slow)
    status = await bench.talk.until("rest", lambda s: s.state in AT_REST, 5.0, **_jog(0))
    equal("state", JointState.READY, status.state)


@JOG.check("withdrawn", "A drive in mode none brakes it.", moves=True)
async def withdrawn(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.jogged(way * bench.slow)
    status = await bench.talk.drive()
    require(status.state is not JointState.JOGGING, "no jog any more", told(status))
    equal("state", JointState.READY, (await bench.talk.rest()).state)


@JOG.check("expiry", "With no drive any more it brakes by itself at the expiry.", moves=True)
async def expiry(bench: Bench) -> None:
    _, way = await _ready(bench)
    fields = _jog(way * bench.slow)
    await bench.jogged(way * bench.slow)
    fields["within_us"] = EXPIRY_US
    begun = await bench.talk.drive(**fields)
    await asyncio.sleep(1.2)
    status = await bench.talk.drive()
    require(status.state in AT_REST, "at rest by itself", told(status))
    furthest = bench.slow * (EXPIRY_US / 1e6 + LATE_S) + bench.braking(bench.slow)
    gone = (status.position - begun.position) * way
    require(0 < gone <= furthest, f"at most {furthest:.0f} counts gone", gone)


@JOG.check("no-expiry", "A jog without an expiry moves nothing.", moves=True)
async def no_expiry(bench: Bench) -> None:
    _, way = await _ready(bench)
    fields = _jog(way * bench.slow)
    del fields["within_us"]
    await _still(bench, fields)


@JOG.check("expired", "A jog whose expiry has passed moves nothing.", moves=True)
async def expired(bench: Bench) -> None:
    _, way = await _ready(bench)
    fields = _jog(way * bench.slow)
    fields["within_us"] = -5_000
    await _still(bench, fields)


@JOG.check("no-map", "A jog without a clock map moves nothing.", moves=True)
async def no_map(bench: Bench) -> None:
    await _ready(bench)
    await bench.fresh()
    await _still(bench, _jog(bench.slow))


@JOG.check("stopped", "With a stop latched a jog moves nothing.", moves=True)
async def stopped(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.talk.drive(stop=StopLevel.STOP)
    await _still(bench, _jog(way * bench.slow))


@JOG.check("prepared", "In prepared a jog moves nothing.", moves=True)
async def in_prepared(bench: Bench) -> None:
    await prepared(bench)
    await _still(bench, _jog(bench.slow))
    equal("state", JointState.PREPARED, (await bench.talk.drive()).state)


@JOG.check("stop", "A stop while it jogs brakes it; event-stopped comes at rest.", moves=True)
async def stop(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.jogged(way * bench.slow)
    status = await bench.talk.until(
        "rest, stopped", lambda s: s.state in AT_REST and s.stop == 1, 5.0, stop=StopLevel.STOP
    )
    event = await bench.talk.stream.event("stopped")
    equal("level, position", (1, status.position), (event["level"], event["position"]))
    equal("homed", True, status.homed)


@JOG.check("busy", "While it jogs, a configure is not-at-rest.", moves=True)
async def busy(bench: Bench) -> None:
    _, way = await _ready(bench)
    await bench.jogged(way * bench.slow)
    await bench.talk.require(bench.body, "not-at-rest")


async def _fenced(bench: Bench) -> tuple[int, int, int]:
    """Homed, in a range of its own: where it stands, the way, and the end there."""
    position, way = await _ready(bench)
    low, high = sorted((position - way * bench.small, position + way * bench.small))
    await bench.configured(range_low=low, range_high=high)
    return position, way, position + way * bench.small


@JOG.check(
    "range", "At the end of the range it stops, and stays jogging at velocity 0.", moves=True
)
async def range_end(bench: Bench) -> None:
    _, way, end = await _fenced(bench)
    status = await bench.talk.until(
        f"rest at {end}",
        lambda s: s.velocity == 0 and abs(s.position - end) <= 1,
        20.0,
        **_jog(way * bench.slow),
    )
    equal("state", JointState.JOGGING, status.state)
    beyond = [
        (s.position - end) * way for s in await bench.talk.keep(0.3, **_jog(way * bench.slow))
    ]
    require(max(beyond) <= 1, "no way beyond the end", f"{max(beyond)} counts beyond")


@JOG.check("target", "With a target it comes to rest exactly there, and stays jogging.", moves=True)
async def target(bench: Bench) -> None:
    position, way = await _ready(bench)
    goal = position + way * (bench.small // 2 + 1)
    status = await bench.talk.until(
        f"rest at {goal}",
        lambda s: s.velocity == 0 and s.position == goal,
        20.0,
        **_jog(bench.slow, goal),
    )
    equal("state", JointState.JOGGING, status.state)


@JOG.check("target-sign", "With a target the velocity's sign says nothing.", moves=True)
async def target_sign(bench: Bench) -> None:
    position, way = await _ready(bench)
    goal = position + way * bench.small // 2
    await bench.talk.until(
        f"rest at {goal}",
        lambda s: s.velocity == 0 and s.position == goal,
        20.0,
        **_jog(-way * bench.slow, goal),
    )


@JOG.check("target-speed", "With a target it is no faster than the velocity asked for.", moves=True)
async def target_speed(bench: Bench) -> None:
    position, way = await _ready(bench)
    goal, first = position + way * bench.small, len(bench.talk.seen)
    await bench.talk.until(
        f"rest at {goal}",
        lambda s: s.velocity == 0 and s.position == goal,
        20.0,
        **_jog(bench.slow, goal),
    )
    fastest = max(abs(s.velocity) for s in bench.talk.seen[first:])
    require(fastest <= bench.slow + 1, f"at most {bench.slow} counts/s", fastest)


@JOG.check("target-beyond", "A target beyond the range is its end.", moves=True)
async def target_beyond(bench: Bench) -> None:
    _, way, end = await _fenced(bench)
    await bench.talk.until(
        f"rest at {end}",
        lambda s: s.velocity == 0 and s.position == end,
        20.0,
        **_jog(bench.slow, end + way * bench.small),
    )


@JOG.check(
    "target-moves-on", "At rest at its target it goes on when another target comes.", moves=True
)
async def target_moves_on(bench: Bench) -> None:
    position, way = await _ready(bench)
    for goal in (position + way * bench.small // 4, position + way * bench.small // 2, position):
        await bench.talk.until(
            f"rest at {goal}",
            lambda s, goal=goal: s.velocity == 0 and s.position == goal,  # type: ignore[misc]
            20.0,
            **_jog(bench.slow, goal),
        )


async def _no_faster(bench: Bench, way: int, limit: int) -> None:
    """Asked for three times its limit (counts/s) it keeps it. Raises Wrong."""
    statuses = await bench.talk.keep(0.6, **_jog(way * limit * 3))
    fastest = max(abs(s.velocity) for s in statuses)
    require(0 < fastest <= limit + 1, f"at most {limit} counts/s", fastest)


@JOG.check("limit", "A homed jog keeps within the configured velocity.", moves=True)
async def limit(bench: Bench) -> None:
    _, way = await _ready(bench)
    slow = bench.slow
    homing = bench.configuration.homing
    rows = bench.configuration.ramp
    await bench.configured(
        velocity=slow,
        jog_unhomed=slow,
        homing=homing.model_copy(
            update={"fast": min(homing.fast, slow), "slow": min(homing.slow, slow)}
        ),
        ramp=rows,
    )
    await _no_faster(bench, way, slow)


@JOG.check("unhomed-limit", "An unhomed jog keeps within jog_unhomed.", moves=True)
async def unhomed_limit(bench: Bench) -> None:
    position, way = await _ready(bench)
    del position
    await bench.unhomed()
    slow = max(1, bench.slow // 2)
    await bench.configured(jog_unhomed=slow)
    await bench.talk.learn()
    await _no_faster(bench, way, slow)


@JOG.check("silence", "An expiry far ahead does not outlast 1.5 s without a drive.", moves=True)
async def silence(bench: Bench) -> None:
    position, way = await _ready(bench)
    low, high = bench.configuration.range_low, bench.configuration.range_high
    if low is not None and high is not None:
        room = (high - position) if way > 0 else (position - low)
        if room < 4 * bench.slow:
            raise NotMade("there is no room for three seconds of slow motion")
    fields = _jog(way * bench.slow)
    fields["within_us"] = 10_000_000
    await bench.talk.until("a jog", lambda s: abs(s.velocity) == bench.slow, 5.0, **fields)
    await asyncio.sleep(1.5 + LATE_S + 2 * bench.slow / bench.configuration.acceleration)
    status = await bench.talk.drive()
    require(status.state in AT_REST, "at rest by itself", told(status))
