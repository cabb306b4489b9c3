"""A network that replays, doubles and reorders datagrams, and one that is full of noise.

Between coordinator and joints stands a relay, which the joints announce in place of themselves.
All is in one process here, on real sockets, so that the relay can see every datagram.
"""

import asyncio
import contextlib
import os
import random
import socket
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect
from websockets.typing import Subprotocol
from zeroconf import IPVersion, ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from coordinator.config.arm import parse_arm
from coordinator.config.data_folder import make_key, read_key
from coordinator.core.events import Home, Refused
from coordinator.playing.runs import Wanted
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.service import Service, running
from protocol import ntp
from protocol.constants import MAX_DATAGRAM_BYTES, STREAM_PATH, SUBPROTOCOL
from protocol.discovery import Announcement
from protocol.drive import REQUEST_BYTES
from protocol.status import REPLY_BYTES
from simulator.network import PROFILES, Link
from simulator.port import JointPort, world_us
from simulator.unit import JointUnit, WorldTruth
from tests.e2e.harness import Bench, before_others, program, start_skew_us, until
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text

HOST = "127.0.0.1"
MDNS_PORT = 5353
PATIENCE_S = 100.0
TELLING_LENGTHS = (ntp.PACKET_BYTES, REQUEST_BYTES, REPLY_BYTES)
"""What gets past a look at the length, here or there: 48, 160 and 180 bytes."""
LENGTHS = (*range(1, MAX_DATAGRAM_BYTES + 1), *TELLING_LENGTHS * 100)
Address = tuple[str, int]


def noise_datagram(source: random.Random) -> bytes:
    """Random bytes, half of them with the first byte of a good request or reply (RFC 5905)."""
    noise = source.randbytes(source.choice(LENGTHS))
    return source.choice((noise, bytes([source.choice((0x23, 0x24))]) + noise[1:]))


def udp_ports(pid: int) -> set[int]:
    """Unicast UDP ports that a process has bound on loopback (proc(5): /proc/net/udp)."""
    own = {os.readlink(fd) for fd in Path(f"/proc/{pid}/fd").iterdir() if fd.is_symlink()}
    lines = [line.split() for line in Path("/proc/net/udp").read_text().splitlines()[1:]]
    found = {line[1] for line in lines if f"socket:[{line[9]}]" in own}
    ports = {int(port, 16) for host, _, port in (at.partition(":") for at in found)}
    return ports - {MDNS_PORT}


class Relay(asyncio.DatagramProtocol):
    """Passes datagrams on to a joint and back, now and then late, twice, or again much later.

    Noise goes with each: from here it comes from where both ends expect the other.
    """

    def __init__(self, joint: Address, seed: int) -> None:
        self.joint = joint
        self.replayed = 0
        self.reordered = 0
        self.noise = 0
        self.transport: asyncio.DatagramTransport
        self._random = random.Random(seed)
        self._coordinator: Address | None = None
        self._old: dict[Address, list[bytes]] = {}
        self._kept_back: dict[Address, bytes] = {}

    def datagram_received(self, data: bytes, addr: Address) -> None:
        if addr == self.joint:
            if self._coordinator is not None:
                self._pass_on(data, self._coordinator)
        else:
            self._coordinator = addr
            self._pass_on(data, self.joint)

    def _pass_on(self, data: bytes, to: Address) -> None:
        for _ in range(5):
            self.noise += 1
            self.transport.sendto(noise_datagram(self._random), to)
        late = self._kept_back.pop(to, None)
        if late is None and self._random.random() < 0.15:
            self._kept_back[to] = data
            return
        self.transport.sendto(data, to)
        if late is not None:
            self.reordered += 1
            self.transport.sendto(late, to)
        old = self._old.setdefault(to, [])
        old.append(data)
        for _ in range(2):
            self.replayed += 1
            self.transport.sendto(self._random.choice(old), to)


@contextlib.asynccontextmanager
async def relayed_arm(
    folder: Path, truths: list[tuple[str, WorldTruth]]
) -> AsyncIterator[tuple[Service, list[Relay]]]:
    """A service and two joints, a relay before each."""
    arm = parse_arm(arm_text(2), folder / "arm.toml")
    make_key(folder)
    key = read_key(folder)
    loop = asyncio.get_running_loop()
    relays: list[Relay] = []
    async with contextlib.AsyncExitStack() as stack:
        zeroconf = AsyncZeroconf(interfaces=[HOST], ip_version=IPVersion.V4Only)
        stack.push_async_callback(zeroconf.async_close)
        stack.push_async_callback(zeroconf.async_unregister_all_services)
        for settings in joint_settings(arm, seed=1):
            port = JointPort(
                JointUnit(settings, key, world_us()),
                Link(PROFILES["none"], 1),
                lambda name, truth: truths.append((name, truth)),
            )
            await port.open(HOST)
            stack.push_async_callback(port.close)
            relay = Relay((HOST, port.udp_port), seed=len(relays))
            relay.transport, _ = await loop.create_datagram_endpoint(
                lambda relay=relay: relay,  # type: ignore[misc]
                local_addr=(HOST, 0),
            )
            stack.callback(relay.transport.close)
            udp_port = relay.transport.get_extra_info("sockname")[1]
            port.unit.listens_at(udp_port)
            service_info = ServiceInfo(
                SERVICE_TYPE,
                f"{settings.name}-{settings.id}.{SERVICE_TYPE}",
                addresses=[socket.inet_aton(HOST)],
                port=port.stream_port,
                properties=Announcement(settings.id, "relayed", udp_port).txt(),
                server=f"{settings.id}.local.",
            )
            await (await zeroconf.async_register_service(service_info, cooperating_responders=True))
            relays.append(relay)
        yield await stack.enter_async_context(running(arm, folder, HOST)), relays


async def homed(service: Service) -> None:
    """Home all joints as soon as they are there."""
    number = None
    while number is None:
        with contextlib.suppress(Refused):
            number = service.command(Home())
        await asyncio.sleep(0.02)
    while (result := await service.homings.homing(number)) and result["state"] == "running":
        await asyncio.sleep(0.02)
    assert result is not None
    assert result["state"] == "done", result["message"]


@pytest.fixture
def own_process_before_others() -> Iterator[None]:
    """The arm of this test is in the tests' own process."""
    with before_others():
        yield


@pytest.mark.usefixtures("own_process_before_others")
async def test_replayed_reordered_and_noisy_datagrams_start_stop_and_move_nothing(
    tmp_path: Path,
) -> None:
    truths: list[tuple[str, WorldTruth]] = []
    async with asyncio.timeout(PATIENCE_S), relayed_arm(tmp_path, truths) as (service, relays):
        await homed(service)
        run = await service.runs.play(Wanted("a.nc", program(-120, -150, letters="AB")))
        while (state := await service.runs.progress(run)) and state["phase"] not in (
            "ended",
            "held",
        ):
            await asyncio.sleep(0.02)
        report = await service.runs.report(run)

    assert report is not None
    assert report["outcome"] == "finished", report["message"]
    assert list(report["holds"]) == []
    events = [(name, truth.event) for name, truth in truths]
    wanted = [(name, event) for name in ("turntable", "shoulder") for event in ("start", "finish")]
    assert sorted(event for event in events if event[1] != "home") == sorted(wanted)
    starts = [{"at_ns": truth.at_ns} for _, truth in truths if truth.event == "start"]
    assert start_skew_us(starts) <= report["start"]["start_skew_max_us"]
    for relay in relays:
        assert relay.replayed > 100
        assert relay.reordered > 10
        assert relay.noise > 1000


LATE = "could not be reached in time to let it move on"


def finishes(bench: Bench) -> bool:
    """Whether the run is over; one that was held because something came late is resumed."""
    going = bench.arm_now()["run"]
    if going is not None and going["phase"] == "held":
        bench.ask("resume")
    return going is None


def test_noise_to_every_port_in_mid_move_changes_nothing(bench: Bench) -> None:
    ready = bench.simulate().ready
    coordinator = bench.serve()
    bench.until_linked()
    bench.home()
    run = bench.play(program(-100, feed=900))
    bench.until_moving()
    noise = random.Random(3)
    joints = ready["joints"]
    own_ports = udp_ports(coordinator.pid)
    assert own_ports
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as datagrams:
        for port in (*own_ports, *(joint["udp_port"] for joint in joints)):
            for length in LENGTHS:
                datagrams.sendto(noise.randbytes(length), (HOST, port))
                datagrams.sendto(b"\x23" + noise.randbytes(length - 1), (HOST, port))
    for joint in joints:
        url = f"ws://{HOST}:{joint['stream_port']}{STREAM_PATH}"
        for frame in (noise.randbytes(1000), noise.randbytes(60).hex(), "[" * 10_000, b"", "{}"):
            with (
                connect(url, subprotocols=[Subprotocol(SUBPROTOCOL)], proxy=None) as stranger,
                contextlib.suppress(ConnectionClosed),
            ):
                while True:
                    stranger.send(frame)
                    stranger.recv(timeout=30)
    api_port = int(bench.url.rpartition(":")[2])
    for port in (joints[0]["stream_port"], api_port):
        with (
            contextlib.suppress(ConnectionError, TimeoutError),
            socket.create_connection((HOST, port), timeout=5) as stream,
        ):
            stream.sendall(noise.randbytes(1_000_000))

    if run.popen.wait(60) != 0:
        # Not noise: a machine that is busy with other things lets a joint go on too late.
        assert LATE in run.errors()
        until(lambda: finishes(bench), "the end of the run")
    report = bench.ask("report")
    assert report["outcome"] == "finished"
    assert all(hold["cause"].endswith(LATE) for hold in report["holds"])
    assert start_skew_us(bench.truths("start")) <= report["start"]["start_skew_max_us"]
    assert all("Traceback" not in process.errors() for process in bench.processes)
