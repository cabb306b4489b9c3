"""What `unisono rehearse` does: many rehearsals of one program, and what they came to."""

import os
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Final

from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from coordinator import compiled
from coordinator.cli import show
from coordinator.cli.common import (
    ExitCode,
    Failure,
    client_at,
    err,
    out,
    read_program,
    show_json,
)
from coordinator.cli.show_rehearsal import rehearsal_sentences, rehearsal_table, supply_sentence
from coordinator.cli.watch import Interrupts
from coordinator.cli.which_arm import ChosenArm, choose_arm
from coordinator.cli.written import require_writable, write_file
from coordinator.config.arm import parse_arm
from coordinator.config.joint import Joint
from coordinator.core.snapshot.joint import JointSnapshot, fitted_hops
from coordinator.motion import Part, check_program
from coordinator.motion.check import CheckResult
from coordinator.motion.peaks import joint_peaks
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_of
from coordinator.programs import ProgramError, Switches
from coordinator.programs.loops import Loops
from coordinator.rehearsal.expected_heat import heat_sentence, peaks_c, rest_needed, too_warm
from coordinator.rehearsal.meeting import RehearsalError
from coordinator.rehearsal.played import Played
from coordinator.rehearsal.plot import plot
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.rehearsal.summary import start_skews_us, summarise
from coordinator.workers.cluster import AddressError, ClusterError, cluster
from coordinator.workers.processes import process_pool
from coordinator.workers.shares import SharePlace, shares, teller
from coordinator.workers.spread import spread
from protocol.constants import US
from simulator.network import PROFILES

TOLD: Final = 10
"""Lines of progress, from first to last, where no bar can be shown."""


@dataclass(frozen=True, slots=True)
class _Task:
    """One rehearsal, for a process of its own."""

    arm: Path
    arm_text: str
    text: str
    network: str
    seed: int
    switches: Switches
    loops: Loops
    fitted_ohm: Mapping[str, float]
    place: SharePlace | None = None
    """Where it tells how far it is; nowhere on another machine."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for."""

    file: Path
    arm: Path | None
    url: str
    network: str
    repetitions: int
    cluster_at: str | None
    picture: Path | None
    switches: Switches
    loops: Loops


def rehearse_all(asked: Asked, *, as_json: bool) -> ExitCode:
    """Rehearse as often as asked, and show what came of it. Raises Failure."""
    require_writable("--plot", asked.picture, ".svg")
    text = read_program(asked.file)
    chosen = choose_arm(asked.arm, asked.url, as_json=as_json)
    _require_right(asked, text, chosen, as_json=as_json)
    parts = _planned(asked, text, chosen, as_json=as_json)
    planned_s = sum(move.duration_us for part in parts for move in part.moves()) / US
    peaks = joint_peaks(parts, chosen.arm)
    told = _told(chosen)
    arm_text, loops, fitted_ohm = chosen.arm.text, asked.loops, fitted_hops(told)
    tasks = [
        _Task(
            chosen.arm.path, arm_text, text, asked.network, seed, asked.switches, loops, fitted_ohm
        )
        for seed in range(1, asked.repetitions + 1)
    ]
    began_s = time.perf_counter()
    played, is_cancelled = _all_played(tasks, asked.cluster_at, is_quiet=as_json)
    took_s = time.perf_counter() - began_s
    if not played:
        raise Failure(ExitCode.NOT_FINISHED, "cancelled before the first rehearsal was over")
    summary = summarise(played)
    name, count = chosen.arm.name, _rehearsals(len(played))
    title = f"{asked.file.name} on {name}, network {asked.network}, {count}"
    if loops.several:
        title += f" of {loops.number} loops"
    if is_cancelled:
        title += f" of {asked.repetitions}, then cancelled"
    if asked.picture is not None:
        picture = plot(title, summary, peaks, start_skews_us(played))
        write_file(asked.picture, picture)
    speed = summary.simulated_us / 1e6 / took_s
    longest_us = summary.duration_us.most if summary.duration_us is not None else 0.0
    warmest_c = peaks_c(chosen.arm.joints, told, max(planned_s, longest_us / US))
    if as_json:
        show_json(
            {
                "program": str(asked.file),
                **chosen.to_json(),
                "network": asked.network,
                "repetitions": asked.repetitions,
                "loops": loops.number,
                "cancelled": is_cancelled,
                "planned_s": planned_s,
                **asdict(summary),
                "joints": [asdict(peak) for peak in peaks],
                "highest_temperature_c": {
                    name: None if one is None else asdict(one) for name, one in warmest_c.items()
                },
                "fitted_hops": list(fitted_ohm),
                "took_s": took_s,
                "times_real_time": speed,
            }
        )
    else:
        out().print(title)
        for sentence in rehearsal_sentences(summary, planned_s):
            out().print(sentence)
        out().print(supply_sentence(summary, chosen.arm.joints, fitted_ohm))
        out().print(heat_sentence(warmest_c, chosen.arm.joints, told))
        out().print(rehearsal_table(summary, peaks))
        simulated_s = summary.simulated_us / 1e6
        out().print(f"{simulated_s:.0f} s simulated in {took_s:.1f} s: {speed:.0f} × real time")
        if hint := compiled.hint():
            err().print(hint)
    if is_cancelled:
        return ExitCode.NOT_FINISHED
    if soft := too_warm(warmest_c, chosen.arm.joints):
        raise Failure(ExitCode.REFUSED, *(_too_warm(joint, told) for joint in soft))
    return ExitCode.DONE


def _too_warm(joint: Joint, told: tuple[JointSnapshot, ...]) -> str:
    return (
        f"{joint.name} would get to where it stops, {joint.temperature_limit_c:g} °C, if this were "
        f"played now: {rest_needed(joint, told)}"
    )


def _told(chosen: ChosenArm) -> tuple[JointSnapshot, ...]:
    """What the arm's coordinator tells of its joints, of what it fitted too. Raises ClientError."""
    if chosen.kind != "coordinator":
        return ()
    with client_at(chosen.place) as client:
        return tuple(client.arm().joints)


def _require_right(asked: Asked, text: str, chosen: ChosenArm, *, as_json: bool) -> None:
    """Raise Failure where `check` finds mistakes."""
    checked = check_program(text, chosen.arm, switches=asked.switches)
    _tell_mistakes(asked, checked, chosen, as_json=as_json)


def _planned(asked: Asked, text: str, chosen: ChosenArm, *, as_json: bool) -> tuple[Part, ...]:
    """What is played. Raises Failure for a program that cannot be played so often, or that moves
    nothing, as `run` does.
    """
    arm = chosen.arm
    try:
        start = pose_of(arm, arm.poses["park"])
        parts = plan_text(text, arm, start, asked.loops, asked.switches)
    except ProgramError as error:  # of several loops: one alone was checked
        once = check_program(text, arm, switches=asked.switches)
        _tell_mistakes(asked, replace(once, errors=error.problems), chosen, as_json=as_json)
        raise
    if not parts:
        raise Failure(ExitCode.REFUSED, f"{asked.file.name} moves nothing")
    return parts


def _tell_mistakes(asked: Asked, found: CheckResult, chosen: ChosenArm, *, as_json: bool) -> None:
    """Raise Failure with the mistakes that were found, if any were."""
    if mistakes := show.mistakes(str(asked.file), found.errors):
        if as_json:
            show_json({**asdict(found), "errors": list(map(asdict, mistakes)), **chosen.to_json()})
        raise Failure(ExitCode.WRONG_INPUT, *mistakes)


def _all_played(
    tasks: list[_Task], cluster_at: str | None, *, is_quiet: bool
) -> tuple[list[Played], bool]:
    """Rehearsals in their order, and whether Ctrl-C cut them short."""
    played: list[Played] = []
    with (
        shares(len(tasks)) as under_way,
        _executor(len(tasks), cluster_at) as executor,
        Interrupts.counted() as pressed,
        _progress(len(tasks), is_quiet=is_quiet) as tell,
    ):
        if cluster_at is None:
            tasks = [replace(task, place=under_way.place(k)) for k, task in enumerate(tasks)]

        def is_cancelled() -> bool:
            tell(len(played), under_way.total())  # it is asked again and again
            return pressed.count > 0

        for result in spread(executor, _play, tasks, is_cancelled):
            if isinstance(result, str):
                raise Failure(ExitCode.WRONG_INPUT, f"this arm cannot be rehearsed: {result}")
            played.append(result)
            under_way.is_there(result.seed - 1)
            tell(len(played), under_way.total())
    return sorted(played, key=lambda run: run.seed), len(played) < len(tasks)


@contextmanager
def _executor(tasks: int, cluster_at: str | None) -> Iterator[Executor]:
    """Who rehearses: a process for each processor here, or the cluster. Raises Failure."""
    try:
        if cluster_at is not None:
            with cluster(cluster_at) as machines:
                yield machines
        else:
            with process_pool(min(tasks, os.cpu_count() or 1)) as processes:
                yield processes
    except AddressError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"--cluster: {error}") from error
    except ClusterError as error:
        raise Failure(ExitCode.UNREACHABLE, str(error)) from error
    except (BrokenExecutor, CancelledError) as error:
        who = f"the cluster at {cluster_at}" if cluster_at else "one of the processes here"
        raise Failure(ExitCode.NOT_FINISHED, f"{who} ended before its work was done") from error


def _play(task: _Task) -> Played | str:
    """Play once; a sentence where the arm does not get to where the program begins."""
    arm = parse_arm(task.arm_text, task.arm)
    try:
        joints = joint_settings(arm, task.seed, fitted_ohm=task.fitted_ohm)
        network = PROFILES[task.network]
        return play_once(
            arm,
            task.text,
            joints,
            network,
            task.seed,
            task.switches,
            task.loops,
            teller(task.place),
        )
    except RehearsalError as error:
        return str(error)


@contextmanager
def _progress(count: int, *, is_quiet: bool) -> Iterator[Callable[[int, float], None]]:
    """A bar on a terminal, elsewhere a few lines; called with how many are done, and with how much
    more, in rehearsals, of those under way together.
    """
    console = err()
    if console.is_terminal:
        columns = (
            TextColumn("rehearsing"), BarColumn(), TextColumn("{task.fields[whole]}/{task.total}"),
            TimeRemainingColumn(),
        )  # fmt: skip
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task("", total=count, whole=0)
            yield lambda done, more: bar.update(task, completed=done + more, whole=done)
        return

    told = 0

    def tell(done: int, more: float) -> None:
        nonlocal told
        # Of many, whole ones are told.
        tenths = int((done if count >= TOLD else done + more) * TOLD / count)
        if not is_quiet and tenths > told:
            told = tenths
            part = f", {100 * (done + more) / count:.0f} % of all" if more and count < TOLD else ""
            console.print(f"rehearsed {done} of {count}{part}")

    yield tell


def _rehearsals(count: int) -> str:
    return f"{count} rehearsal{'s' if count != 1 else ''}"
