"""What the coordinator costs: processor time per joint at 25 Hz, exchanges per second."""

import multiprocessing
import os
import socket
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path

from coordinator.arm import load_arm
from coordinator.cli import host
from coordinator.cli.software_joints import joint_settings
from coordinator.client import Client
from protocol import ntp
from tests.e2e.harness import bench, until

WATCH_S = 8.0
EXCHANGES = 3_000


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def coordinator_cpu_percent(joints: int) -> float:
    """Share of one processor that the coordinator takes while all joints are asked at 25 Hz."""
    with tempfile.TemporaryDirectory() as folder, bench(Path(folder), joints) as made:
        made.simulate()
        coordinator = made.serve()
        made.until_linked()
        made.ask("home")
        with Client(made.url) as client:
            # A programmed pause keeps the run, and so the rate, without moving anything.
            client.play("pause.nc", "M0\nM2\n")
            until(lambda: client.arm()["phase"] == "paused", "the pause")
            before, began = _cpu_s(coordinator.pid), time.monotonic()
            time.sleep(WATCH_S)
            return 100 * (_cpu_s(coordinator.pid) - before) / (time.monotonic() - began)


def _serve_one(data: Path, arm: Path, ready: Connection) -> None:
    settings = host.SimulateSettings(
        tuple(joint_settings(load_arm(arm), 1)), data, "127.0.0.1", "none", 1, None
    )
    host.simulate(settings, lambda ports: ready.send(ports[0].udp_port))


def exchanges_per_s(at_once: int) -> float:
    """Bare NTP exchanges per second with one software joint, so many under way at once."""
    with tempfile.TemporaryDirectory() as folder, bench(Path(folder), 1) as made:
        context = multiprocessing.get_context("spawn")
        hear, tell = context.Pipe(duplex=False)
        joint = context.Process(target=_serve_one, args=(made.data, made.arm, tell), daemon=True)
        joint.start()
        port = hear.recv()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as client:
            client.connect(("127.0.0.1", port))
            client.settimeout(10)
            began = time.monotonic()
            for k in range(at_once):
                client.send(ntp.encode_request(k + 1))
            for k in range(EXCHANGES):
                client.recv(512)
                client.send(ntp.encode_request(at_once + k + 1))
            elapsed_s = time.monotonic() - began
        joint.terminate()
        joint.join()
        return EXCHANGES / elapsed_s
