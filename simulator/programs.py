"""Software joints in C: each a process of its own (deploy/joint/posix), with simulated hardware.

They have real sockets and an announcement of their own, and no network is simulated between them
and the coordinator. Each has the supply for itself. Where there is a key that signs firmware, each
is started by a loader, which runs what comes in its place by updates.
"""

import asyncio
import contextlib
import json
import os
import tempfile
from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Final

from simulator.settings import JointSettings
from simulator.unit import SKEW_PPM, UPTIME_US

PROGRAM_VARIABLE: Final = "UNISONO_JOINT_PROGRAM"
_BUILT: Final = Path(__file__).parents[1] / "deploy" / "joint" / "build" / "joint"
END_S: Final = 5.0


class ProgramError(Exception):
    """A joint in C cannot be run, or has ended; the text is one sentence."""


@dataclass(frozen=True, slots=True)
class JointProgram:
    """A joint's process, which has announced itself."""

    settings: JointSettings
    process: asyncio.subprocess.Process
    stream_port: int
    udp_port: int
    instance: str
    """Its DNS-SD name."""

    async def ended(self) -> ProgramError:
        """Wait until it ends, which nobody asked for; what that is called."""
        code = await self.process.wait()
        return ProgramError(f"the joint {self.settings.name} in C ended with exit code {code}")


def joint_program() -> Path:
    """The program, as it was built here or as the environment names it. Raises ProgramError."""
    named = os.environ.get(PROGRAM_VARIABLE, "")
    program = Path(named) if named else _BUILT
    _require_program(program, "joint in C")
    return program


def _require_program(program: Path, what: str) -> None:
    if not os.access(program, os.X_OK) or program.is_dir():
        raise ProgramError(
            f"there is no {what} at {program}: build it with 'make -C deploy/joint joint', "
            "which needs a C compiler, make and libsodium"
        )


@contextlib.asynccontextmanager
async def programs_served(
    joints: Sequence[JointSettings],
    key_file: Path,
    *,
    interface: str,
    truth: Path | None,
    service_type: str,
    update_key: bytes | None = None,
) -> AsyncIterator[list[JointProgram]]:
    """Run joints in C on the interface with this IPv4 address, until left.

    `update_key` is the public half of the one that signs firmware, without which they take none.
    All have announced themselves when this is entered, and say goodbye when it is left. They end
    with this process in whatever way that ends; the firmware that came ends with it too. Raises
    ProgramError.
    """
    if not joints:
        yield []
        return
    program = joint_program()
    common = [
        *("--key", str(key_file), "--interface", interface),
        *("--service", service_type.removesuffix(".local.")),
        *(("--truth", str(truth)) if truth is not None else ()),
    ]
    async with contextlib.AsyncExitStack() as stack:
        boards = None
        if update_key is not None:
            _require_program(_loader(program), "loader of joints in C")
            boards = Path(
                stack.enter_context(tempfile.TemporaryDirectory(prefix="unisono-joints-"))
            )
            common += ["--update-key", update_key.hex()]
        processes = []
        for settings in joints:
            process = await asyncio.create_subprocess_exec(
                *_command(program, boards, settings),
                *common,
                *arguments(settings),
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
            )
            stack.push_async_callback(_end, process)
            processes.append(process)
        # Together: each takes a second to ask whether somebody has its name already.
        ready = [_ready(*one) for one in zip(joints, processes, strict=True)]
        yield await asyncio.gather(*ready)
        for process in processes:
            _ask_to_end(process)


def _loader(program: Path) -> Path:
    return program.with_name("loader")


def _command(program: Path, boards: Path | None, settings: JointSettings) -> list[str]:
    """How a joint is started: alone, or by a loader with a folder of its own among `boards`."""
    parent = ["--with-parent", str(os.getpid())]
    if boards is None:
        return [str(program), *parent]
    folder = boards / settings.id
    folder.mkdir()
    return [str(_loader(program)), "--folder", str(folder), *parent, str(program)]


def arguments(settings: JointSettings) -> list[str]:
    """What the program is told of a joint; what its seed decides is drawn here."""
    draw = Random(settings.seed)
    figures = {
        "start": round(draw.uniform(settings.start_low, settings.start_high)),
        "uptime-us": round(draw.uniform(1.0, UPTIME_US)),
        "skew-ppm": draw.uniform(-SKEW_PPM, SKEW_PPM),
        "home-centre": settings.home_centre,
        "home-half-width": settings.home_half_width,
        "home-noise": settings.home_noise_counts,
        "home-period": settings.counts_per_turn if settings.continuous else 0,
        "play": settings.play_counts,
        "max-step-rate-hz": settings.max_step_rate_hz,
        "no-idle-current": int(not settings.reduces_current),
        "inputs": settings.inputs,
        "outputs": settings.outputs,
        "ambient-c": settings.ambient_c,
        "source-v": settings.source_v,
        "hop-ohm": settings.hop_ohm,
        "winding-ohm": settings.winding_ohm,
        "idle-watts": settings.idle_watts,
        "rssi-dbm": settings.rssi_dbm,
    }
    return [
        *("--id", settings.id, "--name", settings.name),
        *(word for name, value in figures.items() for word in (f"--{name}", repr(value))),
        *(word for pair in settings.feedback for word in ("--follows", "{}:{}".format(*pair))),
    ]


async def _ready(settings: JointSettings, process: asyncio.subprocess.Process) -> JointProgram:
    assert process.stdout is not None
    line = await process.stdout.readline()
    if not line:
        raise await JointProgram(settings, process, 0, 0, "").ended()
    told = json.loads(line)
    return JointProgram(settings, process, told["stream_port"], told["udp_port"], told["instance"])


def _ask_to_end(process: asyncio.subprocess.Process) -> None:
    with _ended_already():
        process.terminate()


async def _end(process: asyncio.subprocess.Process) -> None:
    _ask_to_end(process)
    try:
        await asyncio.wait_for(process.wait(), END_S)
    except TimeoutError:
        with _ended_already():
            process.kill()
        await process.wait()


@contextlib.contextmanager
def _ended_already() -> Iterator[None]:
    with contextlib.suppress(ProcessLookupError):
        yield
