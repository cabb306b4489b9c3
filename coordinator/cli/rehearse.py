"""`unisono rehearse`: play a program on software joints in virtual time, and say what to expect."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Final

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from coordinator.arm import Arm, parse_arm
from coordinator.cli import show
from coordinator.cli.common import (
    DEFAULT_ARM,
    EXIT_CODES,
    ArmOption,
    ExitCode,
    Failure,
    JsonOption,
    err,
    out,
    read_arm,
    read_program,
    show_json,
)
from coordinator.cli.local import NetworkOption
from coordinator.cli.show_rehearsal import rehearsal_sentences, rehearsal_table
from coordinator.cli.watch import Interrupts
from coordinator.cli.workers import in_processes
from coordinator.motion import check_program
from coordinator.motion.peaks import JointPeaks, joint_peaks
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_of
from coordinator.rehearsal.plot import plot
from coordinator.rehearsal.rehearse import Played, RehearsalError, play_once
from coordinator.rehearsal.summary import spreads_us, summarise
from coordinator.software_joints import joint_settings
from simulator.network import PROFILES, Profile

SEEDS: Final = 20
MAX_SEEDS: Final = 100_000
TOLD: Final = 10
"""Lines of progress, from first to last, where no bar can be shown."""


@dataclass(frozen=True, slots=True)
class _Task:
    """One rehearsal, for a process of its own."""

    arm: Path
    arm_text: str
    text: str
    network: Profile
    seed: int


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    app.command("rehearse", epilog=EXIT_CODES)(rehearse)


def rehearse(
    file: Annotated[Path, typer.Argument(metavar="PROGRAM", help="The program.")],
    arm: ArmOption = DEFAULT_ARM,
    network: NetworkOption = "home",
    seeds: Annotated[
        int,
        typer.Option("--seeds", metavar="N", min=1, max=MAX_SEEDS, help="How many rehearsals."),
    ] = SEEDS,
    as_json: JsonOption = False,
    picture: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE.svg", help="Draw what was seen.")
    ] = None,
) -> ExitCode:
    """Play a program on software joints many times.

    It begins at the pose park, wherever the arm stands, and nothing real moves. It is as true as
    the arm file and the assumed network are. Ctrl-C ends it with what is known by then.
    """
    if picture is not None and picture.suffix.lower() != ".svg":
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"--plot is {picture}, but must end in .svg: that is what it draws",
        )
    described = read_arm(arm)
    text = read_program(file)
    checked = asdict(check_program(text, described))
    if not checked["ok"]:
        if as_json:
            show_json(checked)
        sentences = [] if as_json else show.mistakes(str(file), checked["errors"])
        raise Failure(ExitCode.WRONG_INPUT, *sentences)
    peaks = _peaks(described, text, file)
    if picture is not None and not picture.absolute().parent.is_dir():
        raise Failure(ExitCode.WRONG_INPUT, f"{picture} cannot be written: there is no such folder")
    arm_text = arm.read_text(encoding="utf-8")
    tasks = [_Task(arm, arm_text, text, PROFILES[network], seed) for seed in range(1, seeds + 1)]
    began_s = time.perf_counter()
    played, is_cancelled = _all_played(tasks, is_quiet=as_json)
    took_s = time.perf_counter() - began_s
    if not played:
        raise Failure(ExitCode.NOT_FINISHED, "cancelled before the first rehearsal was over")
    summary = summarise(played)
    title = f"{file.name} on {described.name}, network {network}, {_rehearsals(len(played))}"
    if is_cancelled:
        title += f" of {seeds}, then cancelled"
    if picture is not None:
        picture.write_text(plot(title, summary, peaks, spreads_us(played)), encoding="utf-8")
    speed = summary.simulated_us / 1e6 / took_s
    if as_json:
        show_json(
            {
                "program": str(file),
                "arm": described.name,
                "network": network,
                "seeds": seeds,
                "cancelled": is_cancelled,
                "planned_s": checked["duration_s"],
                **asdict(summary),
                "joints": [asdict(peak) for peak in peaks],
                "took_s": took_s,
                "times_real_time": speed,
            }
        )
    else:
        out().print(title)
        for sentence in rehearsal_sentences(summary, checked["duration_s"]):
            out().print(sentence)
        out().print(rehearsal_table(summary, peaks))
        simulated_s = summary.simulated_us / 1e6
        out().print(f"{simulated_s:.0f} s simulated in {took_s:.1f} s: {speed:.0f} × real time")
    return ExitCode.NOT_FINISHED if is_cancelled else ExitCode.DONE


def _peaks(arm: Arm, text: str, file: Path) -> tuple[JointPeaks, ...]:
    """The plan's peaks. Raises Failure for a program that moves nothing, as `run` does."""
    parts = plan_text(text, arm, pose_of(arm, arm.poses["park"]))
    if not parts:
        raise Failure(ExitCode.REFUSED, f"{file.name} moves nothing")
    return joint_peaks(parts, arm)


def _all_played(tasks: list[_Task], *, is_quiet: bool) -> tuple[list[Played], bool]:
    """Rehearsals in the order of their seeds, and whether Ctrl-C cut them short."""
    played: list[Played] = []
    with Interrupts.counted() as pressed, _progress(len(tasks), is_quiet=is_quiet) as tell:
        for result in in_processes(_play, tasks, pressed):
            if isinstance(result, str):
                raise Failure(ExitCode.WRONG_INPUT, f"this arm cannot be rehearsed: {result}")
            played.append(result)
            tell(len(played))
    return sorted(played, key=lambda run: run.seed), len(played) < len(tasks)


def _play(task: _Task) -> Played | str:
    """Play once; a sentence where the arm does not get to where the program begins."""
    arm = parse_arm(task.arm_text, task.arm)
    try:
        return play_once(arm, task.text, joint_settings(arm, task.seed), task.network, task.seed)
    except RehearsalError as error:
        return str(error)


@contextmanager
def _progress(count: int, *, is_quiet: bool) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, elsewhere a few lines; called with how many are done."""
    console = err()
    if console.is_terminal:
        columns = (
            TextColumn("rehearsing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
        )  # fmt: skip
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task("", total=count)
            yield lambda done: bar.update(task, completed=done)
        return

    def tell(done: int) -> None:
        if not is_quiet and done * TOLD // count > (done - 1) * TOLD // count:
            console.print(f"rehearsed {done} of {count}")

    yield tell


def _rehearsals(count: int) -> str:
    return f"{count} rehearsal{'s' if count != 1 else ''}"
