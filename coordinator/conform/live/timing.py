"""Bare NTP exchanges: what a joint's clock says, and that nothing sets it."""

import asyncio
import os
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, equal, require
from coordinator.conform.datagrams import Answered, bare_request, new_transmit
from protocol.clockmap import ClockMap
from protocol.constants import MAX_DATAGRAM_BYTES, US

PACKET: Final = Section("ntp-packet")
CLOCKS: Final = Section("clocks")
CRYSTAL_PPM: Final = 300.0
"""What a map's rate may be at most, so what a sound crystal keeps."""
ROUNDED_US: Final = 2.0


async def _best(bench: Bench, count: int = 10) -> Answered:
    found = [await bench.talk.datagrams.bare() for _ in range(count)]
    return min(found, key=lambda one: one.round_trip_us)


def _kept_time(first: Answered, last: Answered, off_us: float) -> None:
    """Joint time grew as this host's did, but for `off_us` and both round trips. Raises Wrong."""
    passed_us, grown_us = last.t1_us - first.t1_us, last.t2_us - first.t2_us
    sure_us = off_us + first.round_trip_us + last.round_trip_us
    require(
        abs(grown_us - passed_us) <= sure_us,
        f"{passed_us} µs more of joint time, within {sure_us:.0f} µs",
        f"{grown_us:.0f} µs",
    )


@PACKET.check("bare", "A bare request gets a bare reply of 48 bytes.")
async def bare(bench: Bench) -> None:
    equal("bytes", 48, len((await bench.talk.datagrams.bare()).data))


@PACKET.check("fields", "A reply's fields other than times are those of the page.")
async def fields(bench: Bench) -> None:
    data = (await bench.talk.datagrams.bare()).data
    expected = (0x24, 1, 0, 0xEC, bytes(8), b"UNIS")
    equal("fields", expected, (data[0], data[1], data[2], data[3], data[4:12], data[12:16]))


@PACKET.check("origin", "A reply's origin is the request's transmit, every bit of it.")
async def origin(bench: Bench) -> None:
    for transmit in (1, 2**64 - 1, 0x0123456789ABCDEF, 2**63):
        answered = None
        for _ in range(5):
            answered = answered or await bench.talk.datagrams.ask(bare_request(transmit), transmit)
        require(answered is not None, f"a reply with origin {transmit:016x}", "none")


@PACKET.check("reference", "A reply's reference is its receive timestamp.")
async def reference(bench: Bench) -> None:
    data = (await bench.talk.datagrams.bare()).data
    equal("reference", data[32:40].hex(), data[16:24].hex())


@PACKET.check("versions", "Versions 1 to 4 are served, each reply in the request's version.")
async def versions(bench: Bench) -> None:
    for version in (1, 2, 3, 4):
        data = (await bench.talk.datagrams.bare(version)).data
        equal("first byte", version << 3 | 4, data[0])


@PACKET.check("other-versions", "A bare request of version 0 or 5 gets no reply.")
async def other_versions(bench: Bench) -> None:
    for version in (0, 5):
        await bench.talk.refused(bare_request(new_transmit(), version))


@PACKET.check("other-modes", "A bare request of another mode than 3 gets no reply.")
async def other_modes(bench: Bench) -> None:
    for mode in (1, 4, 6):
        await bench.talk.refused(bare_request(new_transmit(), mode=mode))


@PACKET.check("ignored", "All in a request but first byte and transmit is not looked at.")
async def ignored(bench: Bench) -> None:
    transmit = new_transmit()
    data = bytes((0xE3,)) + os.urandom(39) + transmit.to_bytes(8)
    answered = None
    for _ in range(5):
        answered = answered or await bench.talk.datagrams.ask(data, transmit)
    require(answered is not None, "a reply", "none")


@PACKET.check("length", "47 and 49 bytes get no reply.")
async def length(bench: Bench) -> None:
    data = bare_request(new_transmit())
    await bench.talk.refused(data[:-1])
    await bench.talk.refused(data + b"\0")


@PACKET.check("order", "T2 is not after T3, and both pass within the round trip.")
async def order(bench: Bench) -> None:
    for _ in range(30):
        one = await bench.talk.datagrams.bare()
        require(one.t2_us <= one.t3_us, "T2 not after T3", f"T3 - T2 = {one.t3_us - one.t2_us} µs")
        inside_us, outside_us = one.t3_us - one.t2_us, one.t4_us - one.t1_us
        require(
            inside_us <= outside_us * (1 + CRYSTAL_PPM * 1e-6) + ROUNDED_US,
            f"T3 - T2 within T4 - T1, {outside_us} µs",
            f"{inside_us} µs",
        )


@CLOCKS.check("monotonic", "Joint time only grows, from exchange to exchange.")
async def monotonic(bench: Bench) -> None:
    last_us = -1.0
    for _ in range(60):
        one = await bench.talk.datagrams.bare()
        require(one.t2_us >= last_us, f"T2 from {last_us} µs on", f"{one.t2_us} µs")
        last_us = one.t3_us


@CLOCKS.check("rate", "Joint time runs as fast as this host's, within 300 ppm and the round trips.")
async def rate(bench: Bench) -> None:
    first = await _best(bench)
    await asyncio.sleep(2.0)
    last = await _best(bench)
    _kept_time(first, last, (last.t1_us - first.t1_us) * CRYSTAL_PPM * 1e-6 + ROUNDED_US)


@CLOCKS.check("never-set", "No clock map sets joint time: it is a free-running counter.")
async def never_set(bench: Bench) -> None:
    first = await _best(bench)
    told = ClockMap(9, first.t1_us + 5_000_000, round(first.t2_us), 200_000)
    await bench.talk.drive(clock_map=told)
    last = await _best(bench)
    _kept_time(first, last, (last.t1_us - first.t1_us) * CRYSTAL_PPM * 1e-6 + ROUNDED_US)


@CLOCKS.check("one-clock", "The replies to drives have the clock of bare ones.")
async def one_clock(bench: Bench) -> None:
    first = await _best(bench)
    await bench.talk.drive()
    second = bench.talk.answered
    assert second is not None
    _kept_time(first, second, US * 1e-3)


@PACKET.check("too-long", "A datagram of more than 512 bytes is dropped unread.")
async def too_long(bench: Bench) -> None:
    data, _ = bench.talk.sealed()
    await bench.talk.refused(data + bytes(MAX_DATAGRAM_BYTES + 1 - len(data)))


@PACKET.check("flood", "After a thousand datagrams of noise the next drive is answered.")
async def flood(bench: Bench) -> None:
    for k in range(1_000):
        bench.talk.datagrams.send(os.urandom(48 if k % 4 == 0 else 188))
        if k % 50 == 0:
            await asyncio.sleep(0.01)
    await bench.talk.drive()
    await bench.talk.require(b'{"type":"blink"}')
