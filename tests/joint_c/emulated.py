"""The joint in C on an emulated controller: rv32imc with nothing but the core and a C library.

What it costs is counted in instructions, exact and the same in every run. They are not cycles: the
emulator models neither pipeline nor flash.
"""

import json
import random
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protocol.points import Point
from protocol.states import JointState
from tests.joint_c.treatment import Treatment

BENCH = Path(__file__).parents[2] / "deploy" / "joint" / "bench"
MACHINE = [
    "qemu-system-riscv32",
    "-M",
    "virt",
    "-cpu",
    "rv32,a=off,f=off,d=off",
    "-m",
    "16M",
    "-bios",
    "none",
    "-display",
    "none",
    "-monitor",
    "none",
    "-serial",
    "none",
    "-icount",
    "shift=0",
]
NEEDED = ("riscv64-unknown-elf-gcc", "qemu-system-riscv32", "make")
POINTS = 128
"""In one frame, as many as may be."""


def missing() -> str | None:
    """A sentence on what this machine lacks for it, or None."""
    lacking = [name for name in NEEDED if shutil.which(name) is None]
    if not lacking:
        return None
    return f"The emulated controller needs {', '.join(lacking)}: 'make system' installs them."


def build(folder: Path) -> None:
    """Makes `sequence.elf` and `vectors.elf` in the folder."""
    done = subprocess.run(
        ["make", "-s", "-j2", "-C", str(BENCH), "programs", f"BUILD={folder}"],
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        raise RuntimeError(done.stderr)


def run(program: Path, lines: Sequence[str], folder: Path) -> list[str]:
    """What a program answers to the lines."""
    given = folder / f"{program.stem}.lines"
    given.write_text("".join(f"{line}\n" for line in lines))
    done = subprocess.run(
        [
            *MACHINE,
            "-semihosting-config",
            f"enable=on,target=native,arg={given}",
            "-kernel",
            str(program),
        ],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=300,
    )
    if done.returncode != 0:
        raise RuntimeError(f"exit status {done.returncode}: {done.stderr[-500:]}")
    return done.stderr.splitlines()  # where the emulator puts what the machine prints


class Start(Treatment):
    """One whole use of a joint, from the handshake to the end of its path; no accident."""

    capacities = (512,)

    def expiry_us(self) -> int | None:
        return self.arm_us() + 250_000

    def ahead_us(self) -> int:
        return 9_000_000

    def play(self, steps: int = 400) -> None:
        self.connect()
        self.configure_well()
        self.drive(energise=True)
        self._home_wholly()
        self.trajectory += 1
        begin = self.pair.joint.status(self.pair.now).position
        draw = random.Random(1)
        self.rest = [
            Point(100_000 * k, begin + (draw.randint(-8, 8) if k else 0) * 256, 0, k == POINTS - 1)
            for k in range(POINTS)
        ]
        self.index = POINTS
        self._points(first=True)
        self._prepare()
        while self.pair.joint.state is not JointState.FINISHED and steps > 0:
            if self.pair.joint.state in (JointState.PREPARED, JointState.HELD):
                self._go()
            else:
                self._renew()
            self.wait(100_000)
            steps -= 1
        if steps == 0:
            raise RuntimeError(f"the joint is {self.pair.joint.state}, and should have finished")
        self.pair.poll()
        self.pair.end()


def whole_start(program: Path, seed: int = 1) -> tuple[list[str], list[dict[str, Any]]]:
    """The lines of such a start, and what `program`, this machine's `sequence`, says to them."""
    start = Start(program, seed)
    start.play()
    lines = start.pair.log
    done = subprocess.run(
        [str(program)],
        input="".join(f"{line}\n" for line in lines),
        capture_output=True,
        text=True,
        check=True,
    )
    return lines, answers_of(done.stdout.splitlines())


@dataclass(frozen=True, slots=True)
class Cost:
    """Of all lines of one kind: how many, instructions of one, deepest stack in bytes."""

    count: int
    mean: int
    most: int
    stack: int


def costs(lines: Sequence[str], answers: Sequence[dict[str, Any]]) -> dict[str, Cost]:
    """By the first word of the line."""
    found: dict[str, list[tuple[int, int]]] = {}
    for line, answer in zip(lines, answers, strict=True):
        one = (answer["instructions"], answer["stack"])
        found.setdefault(line.split()[0], []).append(one)
    return {
        kind: Cost(
            count=len(ones),
            mean=sum(spent for spent, _ in ones) // len(ones),
            most=max(spent for spent, _ in ones),
            stack=max(stack for _, stack in ones),
        )
        for kind, ones in found.items()
    }


@dataclass(frozen=True, slots=True)
class Size:
    """Bytes. Code with its constants, unlinked; that of cable and images is apart from the core."""

    code: int
    cable_code: int
    image_code: int
    state: int
    image_state: int


def size(folder: Path) -> Size:
    """What the core takes on the emulated controller."""
    done = subprocess.run(
        ["make", "-s", "-C", str(BENCH), "size", f"BUILD={folder}"],
        capture_output=True,
        text=True,
        check=True,
    )
    return Size(*(int(word) for word in done.stdout.split()))


def asked_by_the_core(folder: Path, apart: Sequence[str]) -> set[str]:
    """The symbols that the core's objects want of each other, but those of the objects apart."""
    objects = [one for one in (folder / "rv32imc").glob("*.o") if one.name not in apart]
    done = subprocess.run(
        [NEEDED[0].removesuffix("gcc") + "nm", "-u", "-j", *map(str, objects)],
        capture_output=True,
        text=True,
        check=True,
    )
    return {line for line in done.stdout.split() if not line.endswith(":")}


def answers_of(lines: Sequence[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines]
