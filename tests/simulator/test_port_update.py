"""New firmware on real sockets: how the streams end, and what is announced then. The same of joints
in Python and in C.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

from websockets.frames import CloseCode

from coordinator.config.data_folder import make_key, read_key
from coordinator.conform.check import Lost
from coordinator.conform.heard import listen
from coordinator.conform.stream import Place, Stream, greet, opened, proved
from protocol.constants import STREAM_PATH
from protocol.image import encode_image_frame
from protocol.messages import Install, encode
from tests.own import SERVICE_TYPE
from tests.simulator.joint.signing import announcing, frames_of
from tests.simulator.joints import settings
from tests.updatable import HOST, Served, Updatable

PATIENCE_S = 60.0


@contextlib.asynccontextmanager
async def served(kind: Updatable, folder: Path) -> AsyncIterator[tuple[Served, Place]]:
    """One joint that takes what `PUBLIC` signs, and announces itself."""
    make_key(folder)
    joint = settings()
    async with kind.served([joint], folder) as (one,):
        place = Place(HOST, one.stream_port, STREAM_PATH, joint.id, read_key(folder))
        try:
            yield one, place
        finally:
            await place.close_all()


async def connected(place: Place) -> Stream:
    stream = await proved(await greet(place, 7, bytes(16)))
    assert isinstance(stream, Stream)
    return stream


async def met_again(place: Place) -> Stream:
    """At the port where it was before it restarted."""
    async with asyncio.timeout(PATIENCE_S):
        while True:
            try:
                return await connected(place)
            except Lost:  # it does not listen yet
                await asyncio.sleep(0.02)


async def updated(kind: Updatable, stream: Stream) -> None:
    """Bring an image and have it installed."""
    assert await stream.ask(encode(announcing(kind.header()))) == "ack"
    assert (await stream.event("update"))["received"] == 0
    for frame in frames_of(kind.data):
        assert await stream.ask(encode_image_frame(frame)) == "ack"
    assert await stream.ask(encode(Install())) == "ack"


async def test_joint_that_restarts_closes_all_streams_with_1001_and_is_met_again(
    tmp_path: Path, updatable: Updatable
) -> None:
    async with served(updatable, tmp_path) as (_, place):
        stranger = await opened(place)
        stream = await connected(place)
        boot = stream.greeting.welcome.boot
        assert stream.greeting.welcome.firmware == updatable.old
        await updated(updatable, stream)
        for socket in (stream.socket, stranger):
            async with asyncio.timeout(PATIENCE_S):
                await socket.wait_closed()
            assert socket.close_code == CloseCode.GOING_AWAY
        welcome = (await met_again(place)).greeting.welcome
        assert welcome.boot != boot
        assert (welcome.firmware, welcome.on_trial) == (updatable.new, True)
        assert welcome.image == updatable.header().sha256.hex()


async def test_joint_announces_what_it_runs_now(tmp_path: Path, updatable: Updatable) -> None:
    async with served(updatable, tmp_path) as (one, place):
        await updated(updatable, await connected(place))
        told = None
        async with asyncio.timeout(PATIENCE_S):
            while told != updatable.new:
                heard = await listen(HOST, SERVICE_TYPE, place.joint_id)
                told = None if heard is None else heard.txt["fw"]
        assert heard is not None
        assert heard.instance == one.instance
