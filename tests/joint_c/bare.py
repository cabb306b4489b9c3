"""A bare board in C behind a pseudo-terminal, with whatever befalls it."""

import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from coordinator.cable.conversation import Conversation
from coordinator.cable.port import Port
from protocol.cable.requests import Who

ID = "02000000bc01"
SSID = "greenhouse"
PASSWORD = "pricking out"


@dataclass(slots=True)
class Board:
    """One that runs, and its port."""

    port: Path
    process: subprocess.Popen[str]

    def pull(self) -> None:
        """Cable and power at once, in no time."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        # Else its name leads to the next board that is given this terminal, of another test.
        self.port.unlink(missing_ok=True)

    def who(self) -> Who:
        with Port(self.port) as port:
            return Conversation(port).who()


@dataclass(frozen=True, slots=True)
class Bench:
    """Where a board's memory is: it outlives the board's power."""

    build: Path
    folder: Path

    @property
    def memory(self) -> Path:
        return self.folder / "memory"

    @contextmanager
    def board(self, *options: str, joint: bool = False) -> Iterator[Board]:
        """Give it power. `joint`: once it is on its network it is one."""
        words = ["--folder", str(self.memory), "--link", str(self.folder / "port"), "--id", ID]
        words += ["--air", SSID, "--air-password", PASSWORD, *options]
        if joint:
            words += ["--joint", str(self.build / "joint")]
        with (self.folder / "stderr").open("a") as told:
            process = subprocess.Popen(
                [str(self.build / "bare_joint"), *words],
                stdout=subprocess.PIPE,
                stderr=told,
                text=True,
            )
        assert process.stdout is not None
        try:
            assert process.stdout.readline().startswith('{"port"'), self.said()
            yield Board(self.folder / "port", process)
        finally:
            process.terminate()
            process.communicate()
        said = self.said()
        assert said == "", said

    def said(self) -> str:
        return (self.folder / "stderr").read_text()
