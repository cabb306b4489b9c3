"""Homing: what it finds, what it reports, and what ends it."""

import asyncio
from typing import Any, Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, Wrong, equal, require
from coordinator.conform.talk import LEASE_US, Fields, told
from protocol.constants import EXPIRY_US
from protocol.drive import Mode, StopLevel
from protocol.messages import Clear
from protocol.middle import middle_of, without_turns
from protocol.states import AT_REST, JointState
from protocol.status import Fault, Status

HOMING: Final = Section("homing")


def _home(number: int, within_us: int = LEASE_US) -> Fields:
    return {
        "mode": Mode.HOME,
        "energise": True,
        "homing_number": number,
        "within_us": within_us,
    }


async def _begun(bench: Bench, number: int = 1) -> Status:
    """A homing under way, the motor moving."""
    await bench.talk.learn()
    await bench.talk.until(
        "drivers on", lambda s: s.energised and not s.reduced, energise=True, full_current=True
    )
    return await bench.talk.until(
        f"homing {number} begun",
        lambda s: s.state is JointState.HOMING and s.homing_number == number,
        3.0,
        **_home(number),
    )


async def _homed(bench: Bench, number: int = 1) -> dict[str, Any]:
    """A whole homing; its event."""
    await _begun(bench, number)
    await bench.talk.until("an end", lambda s: s.state in AT_REST, 180.0, **_home(number))
    while True:  # that of a homing before may still wait there
        event = await bench.talk.stream.event("homed")
        if event["homing_number"] == number:
            return event


@HOMING.check("finds", "Homing finds the sensor: homed, ready, at rest at the middle.", moves=True)
async def finds(bench: Bench) -> None:
    await bench.unhomed()
    event = await _homed(bench)
    status = await bench.talk.drive(energise=True)
    equal("state, homed", (JointState.READY, True), (status.state, status.homed))
    equal("homing number", (1, 1), (status.homing_number, event["homing_number"]))
    equal("position", bench.configuration.homing.home, status.position)


@HOMING.check(
    "middle",
    "Middle and shift follow from the slow edges; unhomed before, lost is null.",
    moves=True,
)
async def middle(bench: Bench) -> None:
    await bench.unhomed()
    event = await _homed(bench)
    slow = [edge for edge in event["edges"] if not edge["fast"]]
    rising = [edge["position"] for edge in slow if edge["rising"]]
    falling = [edge["position"] for edge in slow if not edge["rising"]]
    if len(rising) != 1 or len(falling) != 1:
        raise Wrong("one rising and one falling slow edge", str(slow))
    expected = middle_of(rising[0], falling[0])
    equal("middle", expected, event["middle"])
    equal("shift", bench.configuration.homing.home - expected, event["shift"])
    equal("lost", None, event["lost"])
    sign = bench.configuration.homing.direction
    require((falling[0] - rising[0]) * sign > 0, "edges in the search direction", str(slow))


@HOMING.check(
    "lost", "Homed before, lost is the shift without whole turns: next to nothing.", moves=True
)
async def lost(bench: Bench) -> None:
    await bench.talk.home()
    await bench.talk.rest()
    event = await _homed(bench, bench.talk.homing_number + 1)
    turn = bench.configuration.counts_per_turn
    equal("lost", without_turns(event["shift"], turn), event["lost"])
    require(
        abs(event["lost"]) <= bench.configuration.full_step,
        f"at most a full step, {bench.configuration.full_step}",
        event["lost"],
    )


@HOMING.check(
    "once", "Each homing number is obeyed once: the same one again begins nothing.", moves=True
)
async def once(bench: Bench) -> None:
    await _homed(bench)
    states = {s.state for s in await bench.talk.keep(0.5, **_home(1))}
    equal("states", {JointState.READY}, states)


@HOMING.check("zero", "Homing number 0 asks for nothing.", moves=True)
async def zero(bench: Bench) -> None:
    await bench.talk.learn()
    states = {s.state for s in await bench.talk.keep(0.4, **_home(0))}
    require(JointState.HOMING not in states, "no homing", "homing")


@HOMING.check("no-expiry", "Mode home without an expiry begins nothing.", moves=True)
async def no_expiry(bench: Bench) -> None:
    await bench.talk.learn()
    fields: Fields = {"mode": Mode.HOME, "energise": True, "homing_number": 1}
    states = {s.state for s in await bench.talk.keep(0.4, **fields)}
    require(JointState.HOMING not in states, "no homing", "homing")


@HOMING.check(
    "expiry", "Without another drive homing ends by its expiry: it brakes by itself.", moves=True
)
async def expiry(bench: Bench) -> None:
    await _begun(bench)
    await bench.talk.drive(**_home(1, EXPIRY_US))
    homing = bench.configuration.homing
    await asyncio.sleep(0.25 + homing.fast / bench.configuration.acceleration + 0.4)
    status = await bench.talk.drive()
    require(status.state in AT_REST, "at rest by itself", told(status))
    equal("homed", False, status.homed)
    equal("number", 1, (await bench.talk.stream.event("homing-failed"))["homing_number"])


@HOMING.check(
    "withdrawn",
    "A drive in mode none ends homing: it brakes, and homing-failed is sent.",
    moves=True,
)
async def withdrawn(bench: Bench) -> None:
    await _begun(bench)
    status = await bench.talk.drive()
    require(status.state is not JointState.HOMING, "no homing any more", told(status))
    await bench.talk.stream.event("homing-failed")
    equal("homed", False, (await bench.talk.rest()).homed)


@HOMING.check(
    "other-number", "Another number in the middle of homing ends it, and begins none.", moves=True
)
async def other_number(bench: Bench) -> None:
    await _begun(bench)
    status = await bench.talk.drive(**_home(2))
    require(status.state is not JointState.HOMING, "no homing any more", told(status))
    equal("number", 1, (await bench.talk.stream.event("homing-failed"))["homing_number"])


@HOMING.check("stop", "A stop while homing brakes it: latched, homing failed.", moves=True)
async def stop(bench: Bench) -> None:
    await _begun(bench)
    await bench.talk.until(
        "rest", lambda s: s.state in AT_REST and s.stop == StopLevel.STOP, stop=StopLevel.STOP
    )
    await bench.talk.stream.event("homing-failed")
    await bench.talk.stream.event("stopped")


@HOMING.check(
    "travel",
    "Travel used up: homing fails, then the fault hall-sensor; clear lifts it.",
    moves=True,
)
async def travel(bench: Bench) -> None:
    talk = bench.talk
    await talk.home()
    # From the sensor's middle step 1 goes back over its edge: so little cannot be enough.
    homing = bench.configuration.homing.model_copy(update={"travel": max(1, bench.small // 200)})
    await bench.configured(homing=homing)
    number = talk.homing_number + 1
    status = await talk.until("faulted", lambda s: s.state is JointState.FAULTED, **_home(number))
    equal("faults", Fault.HALL_SENSOR, status.faults)
    equal("homed", False, status.homed)
    await talk.stream.event("homing-failed")
    equal("fault", "hall-sensor", (await talk.stream.event("fault"))["fault"])
    await talk.drive()
    await talk.require(Clear())
    equal("state", JointState.UNHOMED, (await talk.drive()).state)


@HOMING.check("busy", "While it homes, configure and clear are not-at-rest.", moves=True)
async def busy(bench: Bench) -> None:
    await _begun(bench)
    await bench.talk.require(bench.body, "not-at-rest")
    await bench.talk.require(Clear(), "not-at-rest")


@HOMING.check("session", "A new session asks nothing again: homing numbers begin anew.", moves=True)
async def session(bench: Bench) -> None:
    await bench.talk.home()
    other = await bench.begin()
    equal("homing number", 0, (await other.drive()).homing_number)
    other.datagrams.close()
    await other.stream.close()


@HOMING.check("geometry", "Another home in the configuration makes it unhomed.", moves=True)
async def geometry(bench: Bench) -> None:
    await bench.talk.home()
    homing = bench.configuration.homing
    await bench.configured(homing=homing.model_copy(update={"home": homing.home + 1}))
    status = await bench.talk.drive()
    equal("homed, state", (False, JointState.UNHOMED), (status.homed, status.state))


@HOMING.check("limits-kept", "Other limits alone leave it homed.", moves=True)
async def limits_kept(bench: Bench) -> None:
    await bench.talk.home()
    await bench.configured(temperature_limit_centi_c=9_000)
    equal("homed", True, (await bench.talk.drive()).homed)
