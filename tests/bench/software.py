"""Software joints in a process of their own, and the truth that they write."""

import contextlib
import json
import multiprocessing
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from coordinator.cli.simulating import SimulateSettings, simulate
from coordinator.config.arm import Arm, load_arm
from coordinator.config.data_folder import make_key
from coordinator.rehearsal.software_joints import joint_settings
from simulator.port import JointPort
from tests.bench.starts import Began
from tests.quick_arm import arm_text

LOOPBACK = "127.0.0.1"
READY_S = 120.0
Watch = Callable[[list[JointPort]], None]
"""Begins to watch joints that are served, in their event loop."""


@dataclass(slots=True)
class Bench:
    """An arm whose joints are served: its folder, ports and truth."""

    arm: Arm
    data: Path
    truth: Path
    udp_ports: list[int] = field(default_factory=list)
    _read: int = 0

    def began(self) -> list[Began]:
        """Starts and resumes since the last call, by the raw clock, which is arm time here."""
        return [
            (line["joint"], line["at_ns"] / 1000)
            for line in self.new_truths()
            if line["event"] in ("start", "resume")
        ]

    def new_truths(self) -> list[dict[str, Any]]:
        """The truth log's whole lines since the last call."""
        with self.truth.open("rb") as file:
            file.seek(self._read)
            new = file.read()
        whole = new[: new.rfind(b"\n") + 1]
        self._read += len(whole)
        return [json.loads(line) for line in whole.splitlines()]


@contextlib.contextmanager
def software_joints(
    joints: int, network: str, seed: int, *, more: str = "", watched: Watch | None = None
) -> Iterator[Bench]:
    """Serve software joints on loopback until left. `more` is of the arm file, behind its last
    joint; `watched` begins to watch them in their process once they are served.
    """
    with TemporaryDirectory() as folder:
        path, data = Path(folder) / "arm.toml", Path(folder) / "data"
        # Ids of its own, as others may use the loopback interface at the same time.
        path.write_text(arm_text(joints) + more)
        arm = load_arm(path)
        make_key(data)
        bench = Bench(arm, data, Path(folder) / "truth.jsonl")
        settings = SimulateSettings(
            tuple(joint_settings(arm, seed)), data, LOOPBACK, network, seed, bench.truth
        )
        with in_child(_serve, (settings, watched)) as hear:
            bench.udp_ports = answer(hear)
            yield bench


@contextlib.contextmanager
def in_child(act: Callable[[Connection, Any], None], what: Any) -> Iterator[Connection]:
    """Run something in a process of its own, which is ended when this is left."""
    context = multiprocessing.get_context("spawn")
    hear, tell = context.Pipe()
    process = context.Process(target=act, args=(tell, what), daemon=True)
    process.start()
    try:
        yield hear
    finally:
        process.terminate()
        process.join()


def answer(hear: Connection) -> Any:
    """What the child says next. Raises TimeoutError when it says nothing."""
    if not hear.poll(READY_S):
        raise TimeoutError(f"the child process said nothing for {READY_S:g} s")
    return hear.recv()


def _serve(tell: Connection, asked: tuple[SimulateSettings, Watch | None]) -> None:
    settings, watched = asked

    def ready(ports: list[JointPort], _programs: object) -> None:
        if watched is not None:
            watched(ports)
        tell.send([port.udp_port for port in ports])

    simulate(settings, ready)
