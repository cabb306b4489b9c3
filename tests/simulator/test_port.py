"""One joint's ports: limits on streams, the impaired link, the truth log, boots."""

import asyncio
import contextlib
import json
import secrets
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, InvalidStatus, WebSocketException
from websockets.typing import Subprotocol

from protocol import ntp
from protocol.constants import MAX_FRAME_BYTES, STREAM_PATH, SUBPROTOCOL
from protocol.messages import Hello, Reject, Welcome, decode_opening, encode
from simulator.network import PROFILES, Link
from simulator.port import JointPort, world_us
from simulator.server import joints_served
from simulator.unit import JointUnit, WorldTruth
from tests.own import SERVICE_TYPE
from tests.simulator.joints import settings

HOST = "127.0.0.1"
KEY = bytes(range(32))
PATIENCE_S = 20.0


@contextlib.asynccontextmanager
async def served(profile: str = "none") -> AsyncIterator[JointPort]:
    """One joint that announces nothing."""
    unit = JointUnit(settings(), KEY, world_us())
    port = JointPort(unit, Link(PROFILES[profile], 1), lambda _name, _truth: None)
    await port.open(HOST)
    try:
        yield port
    finally:
        await port.close()


def stream_to(port: JointPort, path: str = STREAM_PATH) -> connect:
    return connect(
        f"ws://{HOST}:{port.stream_port}{path}",
        subprotocols=[Subprotocol(SUBPROTOCOL)],
        proxy=None,
    )


def hello() -> str:
    message = Hello(
        protocol=1, coordinator="00" * 16, session="00" * 8, nonce=secrets.token_hex(32)
    )
    return encode(message).decode()


async def test_other_paths_and_peers_without_the_subprotocol_are_turned_away() -> None:
    async with served() as port:
        with pytest.raises(InvalidStatus):
            await stream_to(port, "/other").__aenter__()
        with pytest.raises(WebSocketException):
            await connect(f"ws://{HOST}:{port.stream_port}{STREAM_PATH}", proxy=None).__aenter__()


async def test_the_oldest_of_too_many_streams_that_prove_nothing_must_go() -> None:
    async with served() as port, contextlib.AsyncExitStack() as stack:
        streams = [await stack.enter_async_context(stream_to(port)) for _ in range(3)]
        with pytest.raises(ConnectionClosed):
            await asyncio.wait_for(streams[0].recv(), PATIENCE_S)
        await streams[2].send(hello())
        answer = await asyncio.wait_for(streams[2].recv(), PATIENCE_S)
        assert isinstance(decode_opening(answer), Welcome)


async def test_wrong_proof_is_rejected_by_its_code_and_the_stream_closed() -> None:
    async with served() as port, stream_to(port) as stream:
        await stream.send(hello())
        assert isinstance(decode_opening(await stream.recv()), Welcome)
        await stream.send(json.dumps({"type": "proof", "proof": "00" * 32}))
        reject = decode_opening(await stream.recv())
        assert isinstance(reject, Reject)
        assert (reject.ref, reject.code) == (0, "proof-wrong")
        with pytest.raises(ConnectionClosed):
            await stream.recv()


async def test_frame_over_the_limit_ends_the_stream() -> None:
    async with served() as port, stream_to(port) as stream:
        with contextlib.suppress(ConnectionClosed):
            await stream.send("x" * (MAX_FRAME_BYTES + 1))
        await asyncio.wait_for(stream.wait_closed(), PATIENCE_S)
        assert stream.close_code == 1009  # message too big, RFC 6455 §7.4.1


class Asker(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.origins: list[int] = []

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.origins.append(ntp.decode_packet(data).origin)


async def test_impaired_link_loses_and_reorders_datagrams() -> None:
    async with served("hostile") as port:
        transport, asker = await asyncio.get_running_loop().create_datagram_endpoint(
            Asker, remote_addr=(HOST, port.udp_port)
        )
        for number in range(1, 301):
            transport.sendto(ntp.encode_request(number))
        while port.under_way or not asker.origins:
            await asyncio.sleep(0.01)
        transport.close()
    assert len(set(asker.origins)) < 300
    assert asker.origins != sorted(asker.origins)


async def test_truth_log_gets_whole_lines_as_they_happen(tmp_path: Path) -> None:
    log = tmp_path / "truth.jsonl"
    log.write_text("{}\n")  # of another process, or before a restart
    async with joints_served(
        [settings()],
        KEY,
        interface=HOST,
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
        truth=log,
    ) as (port,):
        port.tell(WorldTruth("start", 123, 4.5, 6.0, 7, output_position=4.25))
        kept, line = log.read_text().splitlines(keepends=True)
    assert kept == "{}\n"
    assert line.endswith("\n")
    assert json.loads(line) == {
        "joint": "elbow", "event": "start", "at_ns": 123, "position": 4.5,
        "output_position": 4.25, "path_us": 6.0,
        "trajectory": 7, "outputs": 0, "inputs": 0,
    }  # fmt: skip


async def test_joint_that_is_started_again_with_the_same_seed_has_another_boot() -> None:
    joint, boots, clocks = settings(), set(), set()
    for _ in range(2):
        async with joints_served(
            [joint],
            KEY,
            interface=HOST,
            profile=PROFILES["none"],
            seed=1,
            service_type=SERVICE_TYPE,
        ) as (port,):
            boots.add(port.unit.joint.identity.boot)
            clocks.add(port.unit.oscillator.joint_us(1e12) - port.unit.oscillator.joint_us(0))
    assert len(boots) == 2
    # The rest is the seed's; the wander begins with the process.
    assert max(clocks) - min(clocks) < 1e12 * 20e-6


async def test_second_joint_of_one_id_takes_another_name() -> None:
    """Where the first one answers in time: that nobody does for so long is taken for a free name
    (RFC 6762 section 8.1), and on a busy machine that may be.
    """
    joint = settings()

    def served() -> contextlib.AbstractAsyncContextManager[list[JointPort]]:
        return joints_served(
            [joint],
            KEY,
            interface=HOST,
            profile=PROFILES["none"],
            seed=1,
            service_type=SERVICE_TYPE,
        )

    for _ in range(3):
        async with served() as first, served() as second:
            names = first[0].instance, second[0].instance
        if names[0] != names[1]:
            break
    assert names == (f"elbow-{joint.id}", f"elbow-{joint.id}-2")
