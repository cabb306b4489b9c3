"""The demo's two processes, and that one of them has ended which nobody asked to."""

import signal
import time
from dataclasses import dataclass
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from typing import Final

from coordinator.cli.common import ExitCode, Failure
from coordinator.cli.watch import LOOK_S, Interrupts
from coordinator.workers.processes import END_S

REST_S: Final = 3.0
"""For joints to rest that hear nothing any more: the permit, 1.1 s at most, the ramp of the demo
arm and some to spare."""


class ChildEnded(Failure):
    """A process ended unexpectedly; what it was about is over."""

    def __init__(self, exit_code: int, sentence: str) -> None:
        super().__init__(ExitCode.NOT_FINISHED, sentence)
        self.exit_code = exit_code
        """Its own; below zero the signal that ended it."""


@dataclass(frozen=True, slots=True)
class DemoChildren:
    """Software joints and coordinator while they run."""

    joints: SpawnProcess
    coordinator: SpawnProcess

    def require_alive(self, patience_s: float) -> None:
        """Look for so long. Raises ChildEnded."""
        processes = {one.sentinel: one for one in (self.coordinator, self.joints)}
        ended = wait(list(processes), patience_s)
        for sentinel, process in processes.items():
            if sentinel in ended:
                process.join(END_S)
                raise ChildEnded(process.exitcode or 0, self._sentence(process))

    def let_joints_rest(self, pressed: Interrupts) -> None:
        """Let joints that lost their coordinator come to rest as they do, unless Ctrl-C."""
        deadline = time.monotonic() + REST_S
        while self.joints.is_alive() and not pressed.count and time.monotonic() < deadline:
            self.joints.join(LOOK_S)

    def _sentence(self, process: SpawnProcess) -> str:
        how = _how(process.exitcode or 0)
        if process is self.coordinator:
            return (
                f"the demo's coordinator ended unexpectedly, {how}; "
                "the joints come to rest by their own rules"
            )
        return (
            f"the demo's software joints ended unexpectedly, {how}, and nothing moves any more; "
            "joints that only lose their coordinator come to rest by their own rules"
        )


def _how(exit_code: int) -> str:
    if exit_code >= 0:
        return f"with exit code {exit_code}"
    try:
        return f"killed by {signal.Signals(-exit_code).name}"
    except ValueError:  # one without a name
        return f"killed by signal {-exit_code}"
