"""Outputs and inputs, and the current at rest."""

import asyncio
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import NotMade, Section, equal, require
from coordinator.conform.course import Run, armed
from coordinator.conform.talk import LEASE_US, told
from protocol.drive import Mode, StopLevel
from protocol.messages import Discard, Prepare
from protocol.points import Point
from protocol.states import JointState

OUTPUTS: Final = Section("outputs")
CURRENT: Final = Section("current")


def _some(bench: Bench) -> int:
    """How many outputs it has. Raises NotMade for none."""
    count = bench.welcome.welcome.capabilities.outputs
    if not count:
        raise NotMade("it has no outputs")
    return count


async def _all_off(bench: Bench) -> None:
    status = await bench.talk.drive(output_mask=255, output_values=0)
    equal("outputs", 0, status.outputs)


@OUTPUTS.check(
    "drive", "A drive in mode none switches the outputs of its mask at its coming.", moves=True
)
async def drive(bench: Bench) -> None:
    count = _some(bench)
    await _all_off(bench)
    every = (1 << count) - 1
    status = await bench.talk.drive(output_mask=every, output_values=every)
    equal("outputs", every, status.outputs)
    status = await bench.talk.drive(output_mask=1, output_values=0)
    equal("outputs", every & ~1, status.outputs)
    await _all_off(bench)


@OUTPUTS.check("no-mask", "Values without a mask switch nothing.", moves=True)
async def no_mask(bench: Bench) -> None:
    _some(bench)
    await _all_off(bench)
    equal("outputs", 0, (await bench.talk.drive(output_mask=0, output_values=255)).outputs)


@OUTPUTS.check("missing", "Bits of outputs that it does not have say nothing.", moves=True)
async def missing(bench: Bench) -> None:
    count = _some(bench)
    await _all_off(bench)
    beyond = 255 & ~((1 << count) - 1)
    equal("outputs", 0, (await bench.talk.drive(output_mask=beyond, output_values=beyond)).outputs)


@OUTPUTS.check("mode-path", "In mode path a drive switches no output.", moves=True)
async def mode_path(bench: Bench) -> None:
    _some(bench)
    await _all_off(bench)
    status = await bench.talk.drive(mode=Mode.PATH, output_mask=1, output_values=1)
    equal("outputs", 0, status.outputs)


@OUTPUTS.check("session", "A new session keeps the outputs as they are.", moves=True)
async def session(bench: Bench) -> None:
    _some(bench)
    await bench.talk.drive(output_mask=1, output_values=1)
    await bench.fresh()
    equal("output 0", 1, (await bench.talk.drive()).outputs & 1)
    await _all_off(bench)


@OUTPUTS.check("lost", "With on_lost it goes off by itself 1.5 s after the last drive.", moves=True)
async def lost(bench: Bench) -> None:
    _some(bench)
    off = {"on_hold": 0, "on_stop": 0, "on_lost": 1}
    await bench.configured(outputs_off=off)
    await bench.talk.drive(output_mask=1, output_values=1)
    await asyncio.sleep(1.0)
    equal("output 0 after 1 s", 1, (await bench.talk.drive()).outputs & 1)
    await asyncio.sleep(1.9)
    equal("output 0 after 1.9 s", 0, (await bench.talk.drive()).outputs & 1)


@OUTPUTS.check(
    "kept", "An output that outputs_off does not name is kept through silence.", moves=True
)
async def kept(bench: Bench) -> None:
    _some(bench)
    await bench.configured(outputs_off=None)
    await bench.talk.drive(output_mask=1, output_values=1)
    await asyncio.sleep(1.9)
    equal("output 0", 1, (await bench.talk.drive()).outputs & 1)
    await _all_off(bench)


@OUTPUTS.check("stop", "With on_stop it goes off with a latched stop at rest.", moves=True)
async def stop(bench: Bench) -> None:
    _some(bench)
    off = {"on_hold": 0, "on_stop": 1, "on_lost": 0}
    await bench.configured(outputs_off=off)
    await bench.talk.drive(output_mask=1, output_values=1)
    await bench.talk.drive(stop=StopLevel.STOP)
    equal("output 0", 0, (await bench.talk.drive()).outputs & 1)


@OUTPUTS.check("point", "A point switches its outputs when its path time is reached.", moves=True)
async def point(bench: Bench) -> None:
    _some(bench)
    await bench.talk.home()
    await _all_off(bench)
    run = await armed(bench)
    await bench.talk.drive(energise=True)
    await bench.talk.require(Discard())
    here = run.points[0].position
    run.points = [
        Point(0, here, 0),
        Point(1_000_000, here, 0, output_mask=1, output_values=1),
        Point(2_000_000, here, 0, last=True),
    ]
    await bench.talk.points(run.points, trajectory=7)
    await bench.talk.require(Prepare(trajectory=7))
    await run.arm()
    first = len(bench.talk.seen)
    await run.moving()
    await run.until("finished", JointState.FINISHED)
    _switches_once(run, first)
    await _all_off(bench)


def _switches_once(run: Run, first: int) -> None:
    """Raises Wrong unless the output is on from the second point on, and off before."""
    at_us = run.points[1].time_us
    for status in run.bench.talk.seen[first:]:
        if abs(status.path_us - at_us) > 5:
            expected = int(status.path_us > at_us)
            equal(f"output 0 at path time {status.path_us} µs", expected, status.outputs & 1)


def _can_reduce(bench: Bench) -> None:
    if not bench.welcome.welcome.capabilities.idle_current:
        raise NotMade("it does not tell that it can reduce its current")


async def _reduced(bench: Bench) -> None:
    """At rest, with its current reduced."""
    _can_reduce(bench)
    await bench.talk.home()
    held_ma = bench.configuration.hold_current_ma
    await bench.configured(idle_current={"after_ms": 400, "current_ma": held_ma // 2})
    await bench.talk.until("a reduced current", lambda s: s.reduced, 3.0, energise=True)


@CURRENT.check(
    "reduced", "After its time at rest the current is reduced: the flag is set.", moves=True
)
async def reduced(bench: Bench) -> None:
    await _reduced(bench)


@CURRENT.check("never", "Without idle_current it never is.", moves=True)
async def never(bench: Bench) -> None:
    _can_reduce(bench)
    await bench.talk.home()
    await bench.configured(idle_current=None)
    flags = {s.reduced for s in (await bench.talk.keep(0.8, energise=True))[4:]}
    equal("flags", {False}, flags)


@CURRENT.check(
    "full", "A drive with full_current brings it back, settled after 100 ms.", moves=True
)
async def full(bench: Bench) -> None:
    await _reduced(bench)
    status = await bench.talk.drive(energise=True, full_current=True)
    equal("the flag at once, as it has not settled", True, status.reduced)
    await asyncio.sleep(0.15)
    status = await bench.talk.drive(energise=True, full_current=True)
    equal("the flag after 150 ms", False, status.reduced)


@CURRENT.check("waits", "Nothing moves it before the full current has settled.", moves=True)
async def waits(bench: Bench) -> None:
    await _reduced(bench)
    position = (await bench.talk.drive(energise=True)).position
    way = bench.inward(position)
    status = await bench.talk.drive(
        mode=Mode.JOG, energise=True, jog_velocity=way * bench.slow, within_us=LEASE_US
    )
    require(status.state is JointState.READY, "rest while the current settles", told(status))
    await bench.jogged(way * bench.slow)


@CURRENT.check("kept", "As long as drives ask for the full current it is not reduced.", moves=True)
async def current_kept(bench: Bench) -> None:
    await _reduced(bench)
    await bench.talk.keep(0.3, energise=True, full_current=True)
    flags = {s.reduced for s in await bench.talk.keep(0.5, energise=True, full_current=True)}
    equal("flags", {False}, flags)
