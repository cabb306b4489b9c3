"""Frames after the proof: tags and numbers, and what a false one costs."""

import os
from collections.abc import Callable
from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, equal, require
from coordinator.conform.stream import Stream
from protocol.frames import FrameSealer
from protocol.keys import Channel, Direction, tag

FRAMES: Final = Section("frames")
_BODY: Final = b'{"type":"blink"}'


async def _ends(bench: Bench, make: Callable[[Stream], bytes | str]) -> None:
    stream = bench.talk.stream
    await stream.socket.send(make(stream))
    await stream.require_end()
    equal("close code", 1000, stream.socket.close_code)


def _framed(stream: Stream, number: int, body: bytes = _BODY) -> bytes:
    key = stream.greeting.key(Channel.STREAM, Direction.TO_JOINT)
    head = number.to_bytes(8)
    return head + tag(key, Direction.TO_JOINT, Channel.STREAM, head + body) + body


@FRAMES.check("tag", "A frame whose tag is wrong ends the stream without an answer.")
async def wrong_tag(bench: Bench) -> None:
    def make(stream: Stream) -> bytes:
        frame = bytearray(_framed(stream, 1))
        frame[23] ^= 1
        return bytes(frame)

    await _ends(bench, make)


@FRAMES.check("body", "A frame whose body was changed by a bit ends the stream.")
async def changed_body(bench: Bench) -> None:
    await _ends(bench, lambda stream: _framed(stream, 1)[:-1] + b"]")


@FRAMES.check("number-bit", "A frame whose number was changed ends the stream.")
async def changed_number(bench: Bench) -> None:
    await _ends(bench, lambda stream: (2).to_bytes(8) + _framed(stream, 1)[8:])


@FRAMES.check("other-key", "A frame by the key of the datagrams ends the stream.")
async def other_key(bench: Bench) -> None:
    def make(stream: Stream) -> bytes:
        key = stream.greeting.key(Channel.DATAGRAM, Direction.TO_JOINT)
        return FrameSealer(key, Direction.TO_JOINT).seal(_BODY)[1]

    await _ends(bench, make)


@FRAMES.check("reflected", "A frame with the tag of the other direction ends the stream.")
async def reflected(bench: Bench) -> None:
    def make(stream: Stream) -> bytes:
        key = stream.greeting.key(Channel.STREAM, Direction.TO_COORDINATOR)
        return FrameSealer(key, Direction.TO_COORDINATOR).seal(_BODY)[1]

    await _ends(bench, make)


@FRAMES.check("too-short", "A frame without a body ends the stream.")
async def too_short(bench: Bench) -> None:
    await _ends(bench, lambda stream: _framed(stream, 1, b""))


@FRAMES.check("noise", "Noise in place of a frame ends the stream.")
async def noise(bench: Bench) -> None:
    await _ends(bench, lambda _: os.urandom(100))


@FRAMES.check("text", "A text frame after the handshake ends the stream.")
async def text(bench: Bench) -> None:
    await _ends(bench, lambda _: _BODY.decode())


@FRAMES.check("again", "A frame that comes a second time ends the stream.")
async def again(bench: Bench) -> None:
    stream = bench.talk.stream
    frame = _framed(stream, 5)
    await stream.socket.send(frame)
    equal("answer", "ack", await stream.answer(5))
    await _ends(bench, lambda _: frame)


@FRAMES.check("back", "A frame whose number goes back ends the stream.")
async def back(bench: Bench) -> None:
    stream = bench.talk.stream
    await stream.socket.send(_framed(stream, 9))
    equal("answer", "ack", await stream.answer(9))
    await _ends(bench, lambda stream: _framed(stream, 8))


@FRAMES.check("gap", "A gap in the numbers is allowed, up to the largest.")
async def gap(bench: Bench) -> None:
    stream = bench.talk.stream
    for number in (3, 1_000, 2**53 - 1):
        await stream.socket.send(_framed(stream, number))
        equal("answer", "ack", await stream.answer(number))


@FRAMES.check("ref", "Every request is answered by one ack or reject with its number as ref.")
async def ref(bench: Bench) -> None:
    for _ in range(5):
        equal("answer", "ack", await bench.talk.ask(_BODY))
    await bench.talk.require(b'{"type":"fly"}', "message-unknown")
    equal("frames", ["ack"] * 6 + ["reject"], bench.talk.stream.kept[:7])


@FRAMES.check("own-numbers", "The joint's own frames begin at 1 and grow; their tags are right.")
async def own_numbers(bench: Bench) -> None:
    for _ in range(4):
        await bench.talk.ask(_BODY)
    stream = bench.talk.stream
    require(stream.false is None, "true frames", stream.false)
    equal("the first number", 1, stream.numbers[0])
    require(stream.numbers == sorted(set(stream.numbers)), "growing numbers", stream.numbers)
