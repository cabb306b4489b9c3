"""Requests at rest: configuration, its limits and its digest, and what stops and faults latch."""

import json
from typing import Any, Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Make, NotMade, Section, equal, require
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.drive import StopLevel
from protocol.keys import fingerprint
from protocol.messages import Blink, Clear, Discard, Prepare
from protocol.states import JointState
from protocol.status import Fault

MESSAGES: Final = Section("messages")
CONFIGURATION: Final = Section("configuration")
STOPS: Final = Section("stops")
FAULTS: Final = Section("faults")
READING_S: Final = 2.0
"""Readings are taken about once a second."""


def _fields(bench: Bench) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(bench.body)["configuration"]
    return found


def _body(configuration: dict[str, Any]) -> bytes:
    return json.dumps({"type": "configure", "configuration": configuration}).encode()


@MESSAGES.check("blink", "A blink is acknowledged, with seconds and without.")
async def blink(bench: Bench) -> None:
    await bench.talk.require(Blink(seconds=1))
    await bench.talk.require(b'{"type":"blink"}')


@MESSAGES.check("order-free", "White space and the order of keys are free.")
async def order_free(bench: Bench) -> None:
    await bench.talk.require(b' {\n "seconds" : 1 ,\t"type" : "blink" }')


@MESSAGES.check("boolean", "true in place of a number is message-invalid.")
async def boolean(bench: Bench) -> None:
    await bench.talk.require(b'{"type":"blink","seconds":true}', "message-invalid")


@MESSAGES.check("exponent", "A number with an exponent is message-invalid.")
async def exponent(bench: Bench) -> None:
    await bench.talk.require(b'{"type":"blink","seconds":1e1}', "message-invalid")


@MESSAGES.check("after-json", "Anything after the object is message-invalid.")
async def after_json(bench: Bench) -> None:
    await bench.talk.require(b'{"type":"blink"}{"type":"blink"}', "message-invalid")


@MESSAGES.check("nested", "Brackets nested without end are rejected, and the joint lives on.")
async def nested(bench: Bench) -> None:
    await bench.talk.require(b'{"type":' + b"[" * 3_000, "message-invalid")
    await bench.talk.require(Blink(seconds=1))


@MESSAGES.check("discard", "A discard with nothing loaded is acknowledged.")
async def discard(bench: Bench) -> None:
    await bench.talk.require(Discard())


@MESSAGES.check("prepare-unhomed", "A prepare of a joint that is not homed is rejected: unhomed.")
async def prepare_unhomed(bench: Bench) -> None:
    await bench.unhomed()
    await bench.talk.require(Prepare(trajectory=7), "unhomed")


@MESSAGES.check("rejected-nothing", "What is rejected changes nothing, and is told by its own ref.")
async def rejected_nothing(bench: Bench) -> None:
    before = await bench.talk.drive()
    await bench.talk.require(b'{"type":"clear","all":true}', "message-invalid")
    after = await bench.talk.drive()
    equal("state and stop", (before.state, before.stop), (after.state, after.stop))


@CONFIGURATION.check("digest", "The welcome has the SHA-256 of the configure's body as it came.")
async def digest(bench: Bench) -> None:
    # Other bytes, the same configuration: the order of keys turned round, and white space.
    body = _body(dict(reversed(_fields(bench).items())))
    await bench.talk.require(body)
    stream = await bench.again()
    equal("digest", fingerprint(body), stream.greeting.welcome.configuration)


@CONFIGURATION.check("kept", "A rejected configuration leaves the one before in force.")
async def kept(bench: Bench) -> None:
    await bench.talk.require(_body(_fields(bench) | {"velocity": 0}), "message-invalid")
    stream = await bench.again()
    equal("digest", fingerprint(bench.body), stream.greeting.welcome.configuration)


@CONFIGURATION.check(
    "same", "The same configuration again is taken, and leaves the position known."
)
async def same(bench: Bench) -> None:
    before = await bench.talk.drive()
    await bench.talk.require(bench.body)
    equal("homed", before.homed, (await bench.talk.drive()).homed)


@CONFIGURATION.check("optional", "outputs_off and idle_current may be left out.")
async def optional(bench: Bench) -> None:
    fields = _fields(bench)
    fields.pop("outputs_off", None)
    fields.pop("idle_current", None)
    await bench.talk.require(_body(fields))


@CONFIGURATION.check(
    "endless", "A range of null and null is taken: a joint that turns without end."
)
async def endless(bench: Bench) -> None:
    await bench.talk.require(_body(_fields(bench) | {"range_low": None, "range_high": None}))


@CONFIGURATION.check(
    "step-rate", "A velocity beyond 256·max_step_rate_hz is rejected: configuration."
)
async def step_rate(bench: Bench) -> None:
    beyond = bench.welcome.welcome.capabilities.max_step_rate_hz * COUNTS_PER_MICROSTEP + 1
    if beyond > 2**31 - 1:
        raise NotMade("its step rate allows every velocity that a configuration may have")
    # So slow a ramp that no acceleration is passed.
    fields = {"velocity": beyond, "acceleration": 2**40, "ramp": [[0, 0], [20_000_000, 1_000_000]]}
    await bench.talk.require(_body(_fields(bench) | fields), "configuration")


def _wrong(changes: dict[str, Any], inner: str = "") -> Make:
    async def make(bench: Bench) -> None:
        fields = _fields(bench)
        if inner:
            fields[inner] = fields[inner] | changes
        else:
            fields |= changes
        await bench.talk.require(_body(fields), "message-invalid")

    return make


def _without(name: str) -> Make:
    async def make(bench: Bench) -> None:
        fields = _fields(bench)
        del fields[name]
        await bench.talk.require(_body(fields), "message-invalid")

    return make


def _beyond_velocity(name: str) -> Make:
    async def make(bench: Bench) -> None:
        fields = _fields(bench)
        fields["homing"] = fields["homing"] | {name: bench.configuration.velocity + 1}
        await bench.talk.require(_body(fields), "message-invalid")

    return make


def _ramp(*rows: tuple[int, int]) -> Make:
    return _wrong({"ramp": [list(row) for row in rows]})


_END: Final = (9_000_000, 1_000_000)
for _name, _sentence, _make in (
    ("unknown-field", "A field more in it", _wrong({"more": 1})),
    ("unknown-inner", "A field more in its homing", _wrong({"more": 1}, "homing")),
    ("no-field", "A configuration without full_step", _without("full_step")),
    ("one-end", "A range with one end only", _wrong({"range_low": None, "range_high": 5})),
    ("empty-range", "A low that is not below high", _wrong({"range_low": 5, "range_high": 5})),
    ("direction", "A homing direction of 0", _wrong({"direction": 0}, "homing")),
    ("fast", "A homing speed beyond velocity", _beyond_velocity("fast")),
    ("slow", "A slow homing speed beyond velocity", _beyond_velocity("slow")),
    ("name", "A name with a space", _wrong({"name": "no name"})),
    ("long-name", "A name of 33 characters", _wrong({"name": "n" * 33})),
    ("zero", "A counts_per_turn of 0", _wrong({"counts_per_turn": 0})),
    ("temperature", "A limit beyond 150 °C", _wrong({"temperature_limit_centi_c": 15_001})),
    ("current", "A current beyond 10 A", _wrong({"run_current_ma": 10_001})),
    ("one-row", "A ramp of one row", _ramp((0, 0))),
    ("many-rows", "A ramp of 65 rows", _ramp(*((k * 300_000, k * 9_000) for k in range(64)),
                                             (20_000_000, 1_000_000))),
    ("ramp-begin", "A ramp that does not begin at rest", _ramp((0, 1), _END)),
    ("ramp-end", "A ramp that does not end at full rate", _ramp((0, 0), (9_000_000, 999_999))),
    ("ramp-grows", "A ramp whose times do not grow", _ramp((0, 0), (9_000_000, 500_000), _END)),
    ("ramp-steep", "A ramp that passes the acceleration", _ramp((0, 0), (1, 1_000_000))),
    ("idle", "A reduced current above the holding one",
     _wrong({"hold_current_ma": 100, "idle_current": {"after_ms": 1_000, "current_ma": 101}})),
    ("idle-soon", "A reduced current after 99 ms",
     _wrong({"idle_current": {"after_ms": 99, "current_ma": 0}})),
    ("outputs-off", "A mask of outputs beyond 255",
     _wrong({"outputs_off": {"on_hold": 256, "on_stop": 0, "on_lost": 0}})),
):  # fmt: skip
    CONFIGURATION.add(_name, f"{_sentence} is message-invalid.", _make)


@STOPS.check("latch", "Stop level 1 is latched, told in the status and by one event-stopped.")
async def latch(bench: Bench) -> None:
    talk = bench.talk
    for _ in range(3):
        await talk.until("stop 1", lambda s: s.stop is StopLevel.STOP, 1.0, stop=StopLevel.STOP)
    event = await talk.stream.event("stopped")
    equal("level", 1, event["level"])
    equal("events besides", [], talk.stream.events)


@STOPS.check("stays", "A latched stop stays when drives ask for none, until it is cleared.")
async def stays(bench: Bench) -> None:
    talk = bench.talk
    await talk.drive(stop=StopLevel.STOP)
    equal("stop", StopLevel.STOP, (await talk.drive()).stop)
    await talk.require(Clear())
    equal("stop", StopLevel.NONE, (await talk.drive()).stop)


@STOPS.check("still-asked", "A clear while the newest drive asks for a stop is stop-still-asked.")
async def still_asked(bench: Bench) -> None:
    talk = bench.talk
    await talk.drive(stop=StopLevel.STOP)
    await talk.require(Clear(), "stop-still-asked")
    equal("stop", StopLevel.STOP, (await talk.drive()).stop)


@STOPS.check("once", "The same level again, or none, sends no other event-stopped.")
async def once(bench: Bench) -> None:
    talk = bench.talk
    await talk.drive(stop=StopLevel.STOP)
    await talk.stream.event("stopped")
    await talk.drive()
    await talk.drive(stop=StopLevel.STOP)
    await talk.require(Blink(seconds=1))
    equal("events", [], talk.stream.events)


@STOPS.check("rises", "After a clear the same level is a rise again: its own event-stopped.")
async def rises(bench: Bench) -> None:
    talk = bench.talk
    for _ in range(2):
        await talk.drive(stop=StopLevel.STOP)
        await talk.stream.event("stopped")
        await talk.drive()
        await talk.require(Clear())


async def _faulty(bench: Bench, changes: dict[str, object], fault: Fault, word: str) -> None:
    """A limit that the present reading passes: faulted, until the limit is mended and cleared."""
    talk = bench.talk
    await bench.configured(**changes)
    status = await talk.until(f"fault {word}", lambda s: fault in s.faults, 4.0)
    equal("state", JointState.FAULTED, status.state)
    equal("fault", word, (await talk.stream.event("fault"))["fault"])
    await talk.require(Clear(), "fault-persists")
    await talk.require(Prepare(trajectory=7), "faulted")
    await talk.require(bench.body)
    await talk.require(Clear())
    after = await talk.drive()
    equal("faults", Fault.NONE, after.faults)
    require(after.state is not JointState.FAULTED, "no longer faulted", after.state.word)


@FAULTS.check(
    "temperature", "A reading above the limit: faulted; clear is fault-persists till then."
)
async def temperature(bench: Bench) -> None:
    status = (await bench.talk.keep(READING_S))[-1]
    if status.temperature_centi_c is None or status.temperature_centi_c <= 0:
        raise NotMade("it has no reading of its temperature above 0 °C")
    changes: dict[str, object] = {"temperature_limit_centi_c": 0}
    await _faulty(bench, changes, Fault.OVER_TEMPERATURE, "over-temperature")


@FAULTS.check("supply", "A supply below the limit: faulted; clear is fault-persists till then.")
async def supply(bench: Bench) -> None:
    status = (await bench.talk.keep(READING_S))[-1]
    if status.supply_mv is None or status.supply_mv >= 60_000:
        raise NotMade("it has no reading of its supply below 60 V")
    await _faulty(bench, {"supply_limit_mv": 60_000}, Fault.SUPPLY_LOW, "supply-low")
