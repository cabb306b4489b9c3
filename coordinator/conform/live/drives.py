"""Drives that move nothing, and the statuses that answer them."""

from dataclasses import replace
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, equal, require
from coordinator.conform.datagrams import Datagrams, new_transmit
from protocol.drive import REQUEST_BYTES, Drive, Mode, encode_drive
from protocol.keys import TAG_BYTES, Channel, Direction, tag
from protocol.ntp import PACKET_BYTES
from protocol.pathtime import RateChange
from protocol.states import JointState
from protocol.status import REPLY_BYTES, Reason

ANSWERED: Final = Section("what-is-answered")
STATUS: Final = Section("status")
CLOCKS: Final = Section("clocks")


def _again(bench: Bench, data: bytes) -> bytes:
    """A datagram with the right tag of its changed bytes."""
    message = data[:-TAG_BYTES]
    return message + tag(bench.talk.to_joint, Direction.TO_JOINT, Channel.DATAGRAM, message)


async def _answered(bench: Bench, change: dict[int, int]) -> None:
    """Raises Wrong unless a drive with other bytes at some offsets is answered."""
    for _ in range(5):
        data, transmit = bench.talk.sealed()
        changed = bytearray(data)
        for offset, value in change.items():
            changed[offset] = value
        if await bench.talk.datagrams.ask(_again(bench, bytes(changed)), transmit):
            return
    require(False, "a reply", "none to 5")


@ANSWERED.check("tag", "A drive whose tag is wrong by one bit is not answered.")
async def wrong_tag(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    await bench.talk.refused(data[:-1] + bytes((data[-1] ^ 1,)))


@ANSWERED.check("value", "A drive whose value was changed under its tag is not answered.")
async def changed_value(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    await bench.talk.refused(data[:-40] + bytes((data[-40] ^ 1,)) + data[-39:])


@ANSWERED.check("reflected", "A drive with the tag of the joint's own direction is not answered.")
async def reflected(bench: Bench) -> None:
    bench.talk.sequence += 1
    drive = Drive(bench.talk.session, bench.talk.sequence)
    data = encode_drive(drive, new_transmit(), bench.talk.to_coordinator)
    await bench.talk.refused(data)


@ANSWERED.check("truncated", "A drive that lacks its last byte is not answered.")
async def truncated(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    await bench.talk.refused(data[:-1])


@ANSWERED.check("longer", "A drive with four bytes more and a right tag is not answered.")
async def longer(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    message = data[: -TAG_BYTES - 4] + bytes(4) + data[-TAG_BYTES - 4 : -TAG_BYTES]
    await bench.talk.refused(_again(bench, message + bytes(TAG_BYTES)))


@ANSWERED.check("session", "A drive of another session, tagged by these keys, is not answered.")
async def other_session(bench: Bench) -> None:
    talk = bench.talk
    talk.sequence += 1
    drive = Drive(talk.session ^ 1, talk.sequence)
    await talk.refused(encode_drive(drive, new_transmit(), talk.to_joint))


@ANSWERED.check("again", "A drive that comes a second time is not answered.")
async def again(bench: Bench) -> None:
    data, transmit = bench.talk.sealed()
    answered = None
    while answered is None:
        answered = await bench.talk.datagrams.ask(data, transmit)
        if answered is None:
            data, transmit = bench.talk.sealed()
    await bench.talk.refused(data)


@ANSWERED.check("old", "A drive of an older sequence is not answered.")
async def old(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    await bench.talk.drive()
    await bench.talk.refused(data)


@ANSWERED.check("sequence", "A sequence may leave some out, and the status names the newest.")
async def sequence(bench: Bench) -> None:
    await bench.talk.drive()
    bench.talk.sequence += 1_000
    first = bench.talk.sequence + 1
    status = await bench.talk.drive()
    require(
        first <= status.sequence <= bench.talk.sequence,
        f"sequence {first} to {bench.talk.sequence}",
        status.sequence,
    )


@ANSWERED.check("elsewhere", "A reply goes to the address and port that the request came from.")
async def elsewhere(bench: Bench) -> None:
    other = await Datagrams.open(bench.place.host, bench.welcome.welcome.udp)
    answered = None
    for _ in range(5):
        data, transmit = bench.talk.sealed()
        answered = answered or await other.ask(data, transmit)
    other.close()
    require(answered is not None, "a reply at another port", "none to 5")


@ANSWERED.check("padding", "Reserved bytes and the field's padding are not looked at.")
async def padding(bench: Bench) -> None:
    # The byte after `full_current`, and what the packet has beside first byte and transmit.
    await _answered(bench, {PACKET_BYTES + 4 + 19: 0xFF, 1: 7, 8: 9})


@ANSWERED.check("condition", "A condition that is not in the table costs nothing.")
async def condition(bench: Bench) -> None:
    await _answered(bench, {PACKET_BYTES + 4 + 15: 200})


@ANSWERED.check("one-reply", "A drive gets one reply of 160 bytes.")
async def one_reply(bench: Bench) -> None:
    await bench.talk.drive()
    assert bench.talk.answered is not None
    equal("bytes", REPLY_BYTES, len(bench.talk.answered.data))
    packet = bench.talk.answered.data
    await bench.talk.datagrams.require_silence(packet)
    equal("bytes of a request", 188, REQUEST_BYTES)


@STATUS.check("boot", "The status has the boot number of the welcome.")
async def boot(bench: Bench) -> None:
    equal("boot", bench.welcome.welcome.boot, (await bench.talk.drive()).boot)


@STATUS.check("at-rest", "At rest, without plan and trajectory, the fields of motion are 0.")
async def at_rest(bench: Bench) -> None:
    s = await bench.talk.drive()
    found = (s.velocity, s.plan, s.trajectory, s.next_index, s.buffered_us, s.remainder_us)
    equal("velocity, plan, trajectory, next index, buffered, remainder", (0,) * 6, found)
    equal("permit", None, s.permit_us)


@STATUS.check("readings", "Readings are there where the capabilities tell the sensors.")
async def readings(bench: Bench) -> None:
    sensors = bench.welcome.welcome.capabilities.sensors
    status = await bench.talk.until(
        "a reading of each sensor told",
        lambda s: (
            (s.temperature_centi_c is not None or "temperature" not in sensors)
            and (s.supply_mv is not None or "supply" not in sensors)
        ),
        3.0,
    )
    require(status.fan_percent <= 100, "a fan up to 100 %", status.fan_percent)


@STATUS.check("inputs", "Bits of inputs and outputs that the joint does not have are 0.")
async def inputs(bench: Bench) -> None:
    status, able = await bench.talk.drive(), bench.welcome.welcome.capabilities
    equal("inputs beyond those told", 0, status.inputs >> able.inputs)
    equal("outputs beyond those told", 0, status.outputs >> able.outputs)


@STATUS.check("reason-none", "A drive without plan has reason none.")
async def reason_none(bench: Bench) -> None:
    equal("reason", Reason.NONE, (await bench.talk.drive(mode=Mode.PATH)).reason)


@STATUS.check("no-map", "A plan to a joint without clock map has reason no-map.")
async def no_map(bench: Bench) -> None:
    status = await bench.talk.drive(mode=Mode.PATH, plan=bench.talk.arm())
    equal("reason and plan", (Reason.NO_MAP, 0), (status.reason, status.plan))


@STATUS.check("not-armed", "A plan to a joint that is not prepared has reason not-armed.")
async def not_armed(bench: Bench) -> None:
    await bench.talk.learn()
    status = await bench.talk.drive(mode=Mode.PATH, plan=bench.talk.arm())
    equal("reason and plan", (Reason.NOT_ARMED, 0), (status.reason, status.plan))


@STATUS.check("plan-elsewhere", "A plan in a drive of another mode than path has reason none.")
async def plan_elsewhere(bench: Bench) -> None:
    await bench.talk.learn()
    equal("reason", Reason.NONE, (await bench.talk.drive(plan=bench.talk.arm())).reason)


@STATUS.check("go-unprepared", "A go to a joint that is not prepared starts nothing.")
async def go_unprepared(bench: Bench) -> None:
    clock_map = await bench.talk.learn()
    plan = replace(bench.talk.arm(), change=RateChange(clock_map.arm_us + 400_000, 0, 0, 1_000_000))
    status = await bench.talk.drive(mode=Mode.PATH, plan=plan, permit_us=1_000_000)
    equal("reason", Reason.NOT_ARMED, status.reason)
    status = (await bench.talk.keep(0.6, mode=Mode.PATH, plan=plan, permit_us=1_000_000))[-1]
    require(status.state in (JointState.UNHOMED, JointState.READY), "rest", status.state.word)


@CLOCKS.check("map", "A clock map is taken, and the status names it.")
async def map_taken(bench: Bench) -> None:
    await bench.talk.learn()
    equal("map number", 1, (await bench.talk.drive()).map_number)
    await bench.talk.learn()
    status = await bench.talk.drive()
    equal("map number and remainder", (2, 0), (status.map_number, status.remainder_us))


@CLOCKS.check("no-map", "A drive without a map keeps the one in use.")
async def map_kept(bench: Bench) -> None:
    await bench.talk.learn()
    await bench.talk.drive()
    equal("map number", 1, (await bench.talk.drive(clock_map=None)).map_number)


@CLOCKS.check("rate-ignored", "A map's rate beyond 300000 ppb: the drive is taken, the map is not.")
async def rate_ignored(bench: Bench) -> None:
    known = await bench.talk.learn()
    await bench.talk.drive()
    other = replace(known, number=2, rate_ppb=300_001)
    equal("map number", 1, (await bench.talk.drive(clock_map=other)).map_number)
    edge = replace(known, number=3, rate_ppb=-300_000)
    equal("map number", 3, (await bench.talk.drive(clock_map=edge)).map_number)


@CLOCKS.check("rate-malformed", "A map's rate beyond 1000000 ppb: the datagram is dropped whole.")
async def rate_malformed(bench: Bench) -> None:
    known = await bench.talk.learn()
    data, _ = bench.talk.sealed(clock_map=replace(known, rate_ppb=1_000_001))
    await bench.talk.refused(data)


@CLOCKS.check("far-map", "A map whose times lie more than 2⁴⁷ µs off is not taken.")
async def far_map(bench: Bench) -> None:
    known = await bench.talk.learn()
    await bench.talk.drive()
    for number, far in (
        (2, replace(known, number=2, arm_us=2**47 + 1)),
        (3, replace(known, number=3, joint_us=known.joint_us + 2**48)),
    ):
        equal(f"map number after {number}", 1, (await bench.talk.drive(clock_map=far)).map_number)
