"""Following a run or a homing until it ends, and what Ctrl-C means meanwhile."""

import contextlib
import signal
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, Final

from rich.status import Status

from coordinator.cli.common import ExitCode, err
from coordinator.client import Client, Refused
from coordinator.core.link import LOST_AFTER_US
from coordinator.stop_words import STOP_LEVELS, StopWord
from protocol.states import AT_REST, JointState

LOOK_S: Final = 0.1
"""Between two looks at how it goes."""

RESTING: Final = ("idle", "held", "paused")
"""Phases of the arm in which nothing is under way."""
STOPPED: Final = tuple(s.word for s in (JointState.UNHOMED, JointState.READY, JointState.FAULTED))
"""States of a joint that rests and has nothing to go on with."""


class Interrupts:
    """Counts Ctrl-C instead of being thrown out by it."""

    def __init__(self) -> None:
        self.count = 0

    def press(self, _signal: int = 0, _frame: FrameType | None = None) -> None:
        """Count one."""
        self.count += 1

    @classmethod
    @contextlib.contextmanager
    def counted(cls) -> Iterator["Interrupts"]:
        """Count from here on; restore what was before at the end."""
        self = cls()
        before = signal.signal(signal.SIGINT, self.press)
        try:
            yield self
        finally:
            signal.signal(signal.SIGINT, before)


class Progress:
    """One line that changes on a terminal; elsewhere a line whenever something changes."""

    def __init__(self, *, quiet: bool) -> None:
        self._console = err()
        self._quiet = quiet and not self._console.is_terminal
        self._status: Status | None = None
        self._last = ""

    @contextlib.contextmanager
    def shown(self) -> Iterator["Progress"]:
        """Show it until left."""
        if self._console.is_terminal:
            with self._console.status("") as self._status:
                yield self
        else:
            yield self

    def tell(self, phase: str, detail: str = "") -> None:
        """Show where things are; only a new phase is worth a line of its own."""
        if self._status is not None:
            self._status.update(f"{phase}{detail}")
        elif phase != self._last and not self._quiet:
            self._console.print(phase)
        self._last = phase


def follow_run(client: Client, run: int, progress: Progress, pressed: Interrupts) -> dict[str, Any]:
    """Follow a run until it ended or is held; Ctrl-C asks for a hold, twice for a stop.

    A programmed pause is waited out. Returns the run's progress as it was then.
    """
    with progress.shown():
        answered = 0
        while True:
            state = client.run(run)
            phase = state["phase"]
            progress.tell(f"run {run}: {phase}", _place(state))
            if phase in ("ended", "held") or (phase == "paused" and answered):
                return state
            if pressed.count > answered:
                answered = pressed.count
                ask = client.hold if answered == 1 else _stop(client)
                with contextlib.suppress(Refused):  # it is at rest already, or about to be
                    ask()
            time.sleep(LOOK_S)


def follow_homing(
    client: Client, number: int, progress: Progress, pressed: Interrupts
) -> dict[str, Any]:
    """Follow a homing until it ended; Ctrl-C asks for a stop."""
    with progress.shown():
        answered = 0
        while True:
            state = client.homing(number)
            progress.tell(f"homing: {state['current'] or state['state']}")
            if state["state"] != "running":
                return state
            if pressed.count > answered:
                answered = pressed.count
                client.stop("stop")
            time.sleep(LOOK_S)


def follow_rest(
    client: Client, is_over: Callable[[dict[str, Any]], bool], patience_s: float
) -> bool:
    """Wait until the arm's state satisfies something; False when patience ran out."""
    deadline = time.monotonic() + patience_s
    while not is_over(client.arm()):
        if time.monotonic() > deadline:
            return False
        time.sleep(LOOK_S)
    return True


def rests(arm: dict[str, Any]) -> bool:
    """Whether nothing is under way, and no joint that still talks says that it moves."""
    silent = {joint["name"] for joint in arm["joints"] if is_silent(joint)}
    return arm["phase"] in RESTING and restless(arm).keys() <= silent


def restless(arm: dict[str, Any]) -> dict[str, str]:
    """Joints whose last word was that they move, and what that was, base to tool."""
    at_rest = {state.word for state in AT_REST}
    return {
        joint["name"]: (
            f"{_silence(joint)}; it was {joint['state']} then"
            if is_silent(joint)
            else f"it is {joint['state']}"
        )
        for joint in arm["joints"]
        if joint["age_us"] is not None and joint["state"] not in at_rest
    }


def is_silent(joint: dict[str, Any]) -> bool:
    """Whether a joint was heard once, but is not any more."""
    return joint["age_us"] is not None and bool(joint["age_us"] > LOST_AFTER_US)


def _silence(joint: dict[str, Any]) -> str:
    return f"silent for {joint['age_us'] / 1e6:.1f} s"


def heard(arm: dict[str, Any]) -> set[str]:
    """Joints that have been heard since the session began."""
    return {joint["name"] for joint in arm["joints"] if joint["age_us"] is not None}


def unconfirmed(arm: dict[str, Any], level: StopWord) -> dict[str, str]:
    """Joints that are not known to have stopped and to rest, and why, base to tool.

    Only a joint's own fresh word counts: one that is away may be moving still.
    """
    found = {joint["name"]: _unconfirmed(joint, STOP_LEVELS[level]) for joint in arm["joints"]}
    return {name: why for name, why in found.items() if why is not None}


def _unconfirmed(joint: dict[str, Any], level: int) -> str | None:
    if joint["age_us"] is None:
        return f"it is {joint['link']} and was never heard"
    if is_silent(joint):
        return _silence(joint)
    if joint["stop_wanted"] or (joint["stop"] or 0) < level:
        return "it has not answered to it"
    return None if joint["state"] in STOPPED else f"it is {joint['state']}"


def exit_code_of(outcome: str) -> ExitCode:
    """The exit code for a run's outcome."""
    if outcome == "finished":
        return ExitCode.DONE
    return ExitCode.REFUSED if outcome == "refused" else ExitCode.NOT_FINISHED


def _stop(client: Client) -> Callable[[], None]:
    return lambda: client.stop("stop")


def _place(state: dict[str, Any]) -> str:
    """Where in the program a run is, as far as it is known."""
    if not state.get("line"):
        return ""
    seconds = f", {state['path_us'] / 1e6:.1f} s"
    if state.get("end_us"):
        seconds += f" of {state['end_us'] / 1e6:.1f} s"
    parts = f", part {state['part']} of {state['parts']}" if state.get("parts", 1) > 1 else ""
    return f", line {state['line']}{seconds}{parts}, at {state['rate_percent']:g} %"
