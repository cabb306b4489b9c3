"""Software joints of either kind that take firmware over the air: tests take both by parameter."""

import contextlib
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from coordinator.config.data_folder import KEY_FILE, read_key
from protocol.image import ImageHeader, encode_header
from simulator.joint.images import BOARD
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.programs import JointProgram, programs_served
from simulator.server import joints_served
from simulator.settings import JointSettings
from simulator.unit import FIRMWARE
from tests.own import SERVICE_TYPE
from tests.simulator.joint.signing import PUBLIC, SECRET, STRANGER, data_of, header_of

HOST = "127.0.0.1"
SIZE = 400_000
BOARD_IN_C = "posix"
OLD_IN_C, NEW_IN_C = "unisono-joint-c 1", "unisono-joint-c 2"
Served = JointPort | JointProgram
"""Either has its ports and its announced name."""


def becomes(program: Path, size: int) -> bytes:
    """Firmware for a joint in C: a script of that many bytes that becomes this program."""
    return f'#!/bin/sh\nexec {program} "$@"\n'.encode().ljust(size, b"#")


@dataclass(frozen=True, slots=True)
class Updatable:
    """One kind of software joint, with firmware that it runs."""

    language: Literal["python", "c"]
    board: str
    old: str
    new: str
    data: bytes = field(repr=False)
    vain: bytes = field(repr=False)
    """Firmware that answers nobody; in Python none is run, so a test has to make it deaf."""

    @classmethod
    def in_python(cls) -> "Updatable":
        data = data_of(1, SIZE)
        return cls("python", BOARD, FIRMWARE, "1.5.0", data, data)

    @classmethod
    def in_c(cls, build: Path) -> "Updatable":
        """With the programs of that folder."""
        data = becomes(build / "joint-next", SIZE)
        return cls("c", BOARD_IN_C, OLD_IN_C, NEW_IN_C, data, b"#!/bin/sh\nexit 0\n")

    def header(self, data: bytes | None = None, board: str | None = None) -> ImageHeader:
        return header_of(self.data if data is None else data, self.new, board or self.board)

    def file(
        self, data: bytes | None = None, *, board: str | None = None, is_own: bool = True
    ) -> bytes:
        """A signed image."""
        data = self.data if data is None else data
        header = encode_header(self.header(data, board))
        return header + (SECRET if is_own else STRANGER).sign(header) + data

    @contextlib.asynccontextmanager
    async def served(
        self, joints: Sequence[JointSettings], folder: Path
    ) -> AsyncIterator[Sequence[Served]]:
        """Joints with the key of a data folder, that take what `SECRET` signed."""
        if self.language == "python":
            async with joints_served(
                joints,
                read_key(folder),
                interface=HOST,
                profile=PROFILES["none"],
                seed=1,
                service_type=SERVICE_TYPE,
                update_key=PUBLIC,
            ) as ports:
                yield ports
            return
        async with programs_served(
            joints,
            folder / KEY_FILE,
            interface=HOST,
            truth=None,
            service_type=SERVICE_TYPE,
            update_key=PUBLIC,
        ) as programs:
            yield programs
