"""New firmware on real sockets: how the streams end, and what is announced then."""

import asyncio
import contextlib
from collections.abc import AsyncIterator

from websockets.frames import CloseCode

from coordinator.conform.heard import listen
from coordinator.conform.stream import Place, Stream, greet, opened, proved
from protocol.constants import STREAM_PATH
from protocol.image import encode_image_frame
from protocol.messages import Install, encode
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from simulator.unit import FIRMWARE
from tests.own import SERVICE_TYPE
from tests.simulator.joint.signing import PUBLIC, announcing, data_of, frames_of, header_of
from tests.simulator.joints import settings

HOST = "127.0.0.1"
KEY = bytes(range(32))
DATA = data_of(1)
PATIENCE_S = 20.0


@contextlib.asynccontextmanager
async def served() -> AsyncIterator[tuple[JointPort, Place]]:
    """One joint that takes what `PUBLIC` signs, and announces itself."""
    async with joints_served(
        [settings()],
        KEY,
        interface=HOST,
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
        update_key=PUBLIC,
    ) as (port,):
        place = Place(HOST, port.stream_port, STREAM_PATH, port.unit.settings.id, KEY)
        try:
            yield port, place
        finally:
            await place.close_all()


async def connected(place: Place) -> Stream:
    stream = await proved(await greet(place, 7, bytes(16)))
    assert isinstance(stream, Stream)
    return stream


async def updated(stream: Stream) -> None:
    """Bring an image and have it installed."""
    assert await stream.ask(encode(announcing(header_of(DATA)))) == "ack"
    assert (await stream.event("update"))["received"] == 0
    for frame in frames_of(DATA):
        assert await stream.ask(encode_image_frame(frame)) == "ack"
    assert await stream.ask(encode(Install())) == "ack"


async def test_joint_that_restarts_closes_all_streams_with_1001_and_is_met_again() -> None:
    async with served() as (port, place):
        stranger = await opened(place)
        stream = await connected(place)
        boot = stream.greeting.welcome.boot
        assert stream.greeting.welcome.firmware == FIRMWARE
        await updated(stream)
        for socket in (stream.socket, stranger):
            async with asyncio.timeout(PATIENCE_S):
                await socket.wait_closed()
            assert socket.close_code == CloseCode.GOING_AWAY
        welcome = (await connected(place)).greeting.welcome
        assert welcome.boot != boot
        assert (welcome.firmware, welcome.on_trial) == ("1.5.0", True)
        assert welcome.image == header_of(DATA).sha256.hex()
        assert port.unit.joint.identity.firmware == "1.5.0"


async def test_joint_announces_what_it_runs_now() -> None:
    async with served() as (port, place):
        await updated(await connected(place))
        told = None
        async with asyncio.timeout(PATIENCE_S):
            while told != "1.5.0":
                heard = await listen(HOST, SERVICE_TYPE, place.joint_id)
                told = None if heard is None else heard.txt["fw"]
        assert heard is not None
        assert heard.instance == port.instance
