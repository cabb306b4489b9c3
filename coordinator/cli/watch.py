"""Following a run or a homing until it ends, and what Ctrl-C means meanwhile."""

import contextlib
import signal
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TYPE_CHECKING, Final

from rich.status import Status

from coordinator.cli.common import ExitCode, err
from coordinator.cli.condition import headline, is_at_rest, is_unknown, watching
from coordinator.cli.production import progress_words
from coordinator.client import Client, Refused
from coordinator.codes.link_word import LinkWord
from coordinator.codes.outcome import Outcome
from coordinator.core.stop_words import StopWord
from coordinator.programs.progress import Progress as WorkDone
from coordinator.programs.progress import Stage, Tell
from protocol.light import ConditionWord

if TYPE_CHECKING:
    from coordinator.client.values import (
        ArmSnapshot,
        HomingSnapshot,
        RunGoing,
        RunOver,
        RunSnapshot,
    )

LOOK_S: Final = 0.1
"""Between two looks at how it goes."""
REST_S: Final = 15.0
"""Longest that a hold or stop takes: silence of 1.5 s, permit and ramp, and some to spare."""
USUAL_S: Final = 2.0
"""Within which joints that hear it have come to rest: what takes longer is told."""


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


WORK_WORDS: Final = {
    Stage.WAITING: "waiting for another program",
    Stage.READING: "reading lines",
    Stage.RANGES: "holding moves against the joints' ranges",
    Stage.PARTS: "dividing moves into parts",
    Stage.ENDS: "following moves to their ends",
    Stage.PLANNING: "planning moves",
}


@contextlib.contextmanager
def work_shown(pressed: Interrupts | None = None) -> Iterator[Tell]:
    """Show on a terminal how far work on a program is; elsewhere nothing. Where Ctrl-C is counted
    it ends the work by KeyboardInterrupt, as it does else.
    """
    with Progress(quiet=True).shown() as progress:

        def tell(found: WorkDone) -> None:
            if pressed is not None and pressed.count:
                raise KeyboardInterrupt
            words = WORK_WORDS.get(found.stage, found.stage)
            count = f": {found.done} of {found.of}" if found.of else ""
            progress.tell(words, f"{count}; Ctrl-C cancels")

        yield tell


def follow_run(
    client: Client, run: int, progress: Progress, pressed: Interrupts
) -> "tuple[RunGoing | RunOver, ArmSnapshot]":
    """Follow a run until it ended or is held; Ctrl-C asks for a hold, twice for a stop.

    A programmed pause is waited out, unless an input that was awaited did not come. Returns the
    run's progress as it was then, and the arm's state, which may be worse than what the run says: a
    joint may be offline.
    """
    with progress.shown(), watching(client) as look:
        answered, over_s = 0, 0.0
        while True:
            arm = look()
            going = arm.run if arm.run and arm.run.number == run else None
            if going is None or not arm.phase.busy:
                state = client.run(run)
                if state.needs_somebody or (state.phase == "paused" and answered):
                    over_s = over_s or time.monotonic()
                    # Its joints may confirm only now that they rest.
                    if is_settled(arm) or time.monotonic() - over_s > USUAL_S:
                        progress.tell(f"run {run}: {with_word(state.phase, arm)}")
                        return state, arm
            if going is not None:
                told = f"run {run}: {arm.condition.word}"
                progress.tell(told, f"{rest_of(arm)}{_place(going)}")
            if pressed.count > answered:
                answered = pressed.count
                ask = client.hold if answered == 1 else _stop(client)
                with contextlib.suppress(Refused):  # it is at rest already, or about to be
                    ask()
            time.sleep(LOOK_S)


def follow_homing(
    client: Client, number: int, progress: Progress, pressed: Interrupts
) -> "HomingSnapshot":
    """Follow a homing until it ended; Ctrl-C asks for a stop."""
    with progress.shown(), watching(client) as look:
        answered = 0
        while True:
            arm = look()
            state = client.homing(number)
            if state.state != "running":
                return state
            progress.tell(headline(arm))
            if pressed.count > answered:
                answered = pressed.count
                client.stop("stop")
            time.sleep(LOOK_S)


def with_word(what: str, arm: "ArmSnapshot") -> str:
    """What a run is, with the arm's condition where that is not as calm."""
    return what if is_at_rest(arm) else f"{what}; {headline(arm)}"


def follow_rest(
    client: Client,
    is_over: "Callable[[ArmSnapshot], bool]",
    waiting: "Callable[[ArmSnapshot], tuple[str, str]]",
    progress: Progress,
) -> "ArmSnapshot":
    """Wait until the arm's state satisfies something, or REST_S are over; the state then.

    `waiting` says what is waited for, and more that changes: at once where a joint is offline,
    otherwise where it takes longer than coming to rest usually does.
    """
    began_s = time.monotonic()
    with progress.shown(), watching(client) as look:
        while not is_over(arm := look()) and (took_s := time.monotonic() - began_s) < REST_S:
            if took_s > USUAL_S or any(one.link == LinkWord.OFFLINE for one in arm.joints):
                progress.tell(*waiting(arm))
            time.sleep(LOOK_S)
    return arm


def is_settled(arm: "ArmSnapshot") -> bool:
    """Whether waiting a moment will not make the arm's word calmer."""
    return is_at_rest(arm) or is_unknown(arm) or bool(arm.condition.unconfirmed)


def is_held(arm: "ArmSnapshot") -> bool:
    """Whether nothing is under way any more. A joint that is offline is not waited for."""
    return is_at_rest(arm) or (is_unknown(arm) and not arm.phase.busy)


def is_stopped(arm: "ArmSnapshot", level: StopWord) -> bool:
    """Whether every joint has latched the stop and rests."""
    words = (
        [ConditionWord.MOTORS_OFF]
        if level != "stop"
        else [ConditionWord.STOPPED, ConditionWord.MOTORS_OFF]
    )
    return arm.condition.word in words and not unstopped(arm)


def unstopped(arm: "ArmSnapshot") -> dict[str, str]:
    """Joints that have not latched the stop, or of which that is not known any more, and why."""
    return {
        joint.name: "it has not answered to it"
        if joint.link != LinkWord.OFFLINE
        else f"it is offline: {joint.link_message}"
        for joint in arm.joints
        if joint.stop_wanted or joint.link == LinkWord.OFFLINE
    }


def is_past_waiting(arm: "ArmSnapshot") -> bool:
    """Whether all that could confirm a stop have, and the others were never heard at all."""
    never = {joint.name for joint in arm.joints if joint.age_us is None}
    return is_unknown(arm) and unstopped(arm).keys() <= never


def exit_code_of(outcome: Outcome) -> ExitCode:
    """The exit code for a run's outcome."""
    if outcome == Outcome.FINISHED:
        return ExitCode.DONE
    return ExitCode.REFUSED if outcome == Outcome.REFUSED else ExitCode.NOT_FINISHED


def _stop(client: Client) -> Callable[[], None]:
    return lambda: client.stop("stop")


def rest_of(arm: "ArmSnapshot") -> str:
    """What a headline says beside its word."""
    return headline(arm).removeprefix(arm.condition.word)


def _place(state: "RunSnapshot") -> str:
    """Where in the program a run is, as far as it is known."""
    if not state.line:
        return ""
    seconds = "" if state.path_us is None else f", {state.path_us / 1e6:.1f} s"
    if state.end_us:
        seconds += f" of {state.end_us / 1e6:.1f} s"
    of_part = _part(state)
    parts = f"{' of' if seconds else ','} {of_part}" if of_part else ""
    return (
        f", line {state.line}{seconds}{parts}{progress_words(state)}, at {state.rate_percent:g} %"
    )


def _part(state: "RunSnapshot") -> str:
    """Of which part the time is, and that it is not the last; empty where there is one only."""
    if state.parts is None:
        return f"part {state.part}, more may follow"
    if state.parts == 1:
        return ""
    more = state.parts - state.part
    follow = f", {more} part{'s follow' if more > 1 else ' follows'}" if more else ""
    return f"part {state.part} of {state.parts}{follow}"
