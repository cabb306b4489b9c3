"""What `unisono conform` does: finds the joint, asks whether it may move, checks, and tells."""

import asyncio
import logging
import os
import shlex
import shutil
import signal
import socket
from collections.abc import Callable, Coroutine, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from coordinator.cli.common import (
    CAUTION,
    ExitCode,
    Failure,
    err,
    named_joint,
    out,
    read_arm,
    require_yes,
    show_json,
)
from coordinator.cli.conform_table import counts, summary, table
from coordinator.config.arm import Arm, Joint
from coordinator.config.data_folder import read_key
from coordinator.config.settings import service_type
from coordinator.conform.bench import Target
from coordinator.conform.check import Check, Lost, Outcome, Result, Wrong
from coordinator.conform.checks import CHECKS, TITLES
from coordinator.conform.heard import Heard, listen
from coordinator.conform.run import Unstopped, run_checks
from coordinator.conform.stream import Place, Stream, greet, proved
from coordinator.conform.vectors.program import ask_program
from coordinator.conform.vectors.questions import questions
from coordinator.core.configure import arm_ramp, configuration_of, idle_current
from coordinator.links.address import has_address
from protocol.constants import STREAM_PATH

T = TypeVar("T")
MOVES: Final = (
    "The joint will switch its motor on, home, and turn by a few degrees, again and again, for "
    "about five minutes; between two checks it lets go of its drivers too, and what it carries may "
    "fall. Take its load off, and keep clear of it. Ctrl-C stops it."
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for."""

    host: str
    joint: str | None
    arm: Path
    data: Path
    port: int | None
    interface: str
    only: tuple[str, ...]
    moves: bool
    yes: bool
    reboot_command: str


def ask_vectors(program: Path, *, as_json: bool) -> ExitCode:
    """Hold a program to the golden vectors. Raises Failure."""
    if not program.is_file() or not os.access(program, os.X_OK):
        raise Failure(ExitCode.WRONG_INPUT, f"--vectors: {program} is no program that can be run")
    asked = questions()
    try:
        with _progress(len(asked) + 1, is_quiet=as_json) as tell:
            results = _run(ask_program(program.absolute(), asked, tell))
    except KeyboardInterrupt:
        raise Failure(ExitCode.NOT_FINISHED, "interrupted; the program was ended") from None
    except OSError as error:
        raise Failure(
            ExitCode.WRONG_INPUT, f"--vectors: {program} cannot be run: {error.strerror}"
        ) from error
    titles = {one.section: f"vectors/{one.section}" for one in results}
    return _told(results, titles, {"program": str(program)}, as_json=as_json)


def check_joint(asked: Asked, *, as_json: bool) -> ExitCode:
    """Check a joint. Raises Failure."""
    logging.basicConfig(level=logging.CRITICAL)  # the libraries: what a joint breaks is told here
    checks = _chosen(asked.only)
    arm = read_arm(asked.arm)
    joint = _joint(arm, asked.joint)
    key = read_key(asked.data)
    if not has_address(asked.interface):
        sentence = f"no interface of this host has the address {asked.interface}"
        raise Failure(ExitCode.WRONG_INPUT, sentence)
    if asked.reboot_command:
        _require_command(asked.reboot_command)
    address = _address(asked.host)
    if asked.moves:
        _ask_to_move(asked, joint.name, as_json=as_json)
    target = _run(_found(asked, arm, joint, key, address))
    if not as_json:
        err().print(
            f"{joint.name}, id {joint.id}, at {target.place.host}:{target.place.port}: "
            f"{len(checks)} checks"
        )
    done: list[Result] = []
    try:
        with _progress(len(checks), is_quiet=as_json) as tell:

            def note(found: Result) -> None:
                done.append(found)
                tell(found)

            results = _run(run_checks(target, checks, note))
    except KeyboardInterrupt:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"interrupted after {len(done)} of {len(checks)} checks; the joint rests, and keeps a "
            "stop latched until it is cleared",
        ) from None
    except Unstopped as error:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"interrupted after {len(done)} of {len(checks)} checks; {error}. Cut its supply if it "
            "still moves",
        ) from error
    about = {"joint": joint.name, "id": joint.id, "host": address, "port": target.place.port}
    return _told(results, TITLES, about, as_json=as_json)


def _chosen(only: tuple[str, ...]) -> Sequence[Check]:
    """All checks, or those that are named. Raises Failure."""
    for name in only:
        if not any(check.id.startswith(name) for check in CHECKS):
            raise Failure(ExitCode.WRONG_INPUT, f"--only: no check's id begins with {name!r}")
    return [one for one in CHECKS if not only or one.id.startswith(only)]


def _joint(arm: Arm, name: str | None) -> Joint:
    if name is None:
        if len(arm.joints) > 1:
            known = " ".join(joint.name for joint in arm.joints)
            sentence = f"--joint must say which joint of {arm.name} it is: {known}"
            raise Failure(ExitCode.WRONG_INPUT, sentence)
        return arm.joints[0]
    return named_joint(arm, name)


def _require_command(command: str) -> None:
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"--reboot-command: {error}") from error
    if not words or shutil.which(words[0]) is None:
        raise Failure(ExitCode.WRONG_INPUT, f"--reboot-command: {command!r} is no command here")


def _address(host: str) -> str:
    """The IPv4 address of a host. Raises Failure."""
    try:
        found = socket.getaddrinfo(host, None, socket.AF_INET, socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise Failure(
            ExitCode.UNREACHABLE, f"there is no host {host!r} with an IPv4 address"
        ) from error
    return str(found[0][4][0])


def _ask_to_move(asked: Asked, name: str, *, as_json: bool) -> None:
    """Cautions, and a typed yes. Raises Failure."""
    if not as_json:
        err().print(CAUTION)
        err().print(MOVES)
    refused = "it may not move: nothing was checked"
    require_yes(f"May {name} move?", "--moves", refused, given=asked.yes, as_json=as_json)


async def _found(asked: Asked, arm: Arm, joint: Joint, key: bytes, address: str) -> Target:
    """The joint, and that it is this one. Raises Failure."""
    service = service_type()
    heard = await listen(asked.interface, service, joint.id)
    if heard is None and asked.port is None:
        raise Failure(
            ExitCode.UNREACHABLE,
            f"no joint with id {joint.id} announces itself on {asked.interface}; --interface names "
            "another one, --port the joint's port",
        )
    path = heard.txt.get("path", STREAM_PATH) if heard is not None else STREAM_PATH
    place = Place(address, asked.port or _port(heard), path, joint.id, key)
    target = Target(
        place,
        configuration_of(joint, arm_ramp(arm), (), idle_current(joint, arm)),
        heard,
        asked.interface,
        service,
        asked.moves,
        asked.reboot_command,
    )
    try:
        await _require_joint(target, asked.data)
    finally:
        await place.close_all()
    return target


def _port(heard: Heard | None) -> int:
    assert heard is not None
    return heard.port


async def _require_joint(target: Target, data: Path) -> None:
    """Raises Failure unless the joint that is meant answers, and nobody else has it."""
    place = target.place
    try:
        greeting = await greet(place, int.from_bytes(os.urandom(8)), target.coordinator)
    except Lost as error:
        raise Failure(ExitCode.UNREACHABLE, str(error)) from error
    except Wrong as error:
        sentence = f"what answers at {place.host}:{place.port} does not speak as a joint: {error}"
        raise Failure(ExitCode.UNREACHABLE, sentence) from error
    if greeting.welcome.id != place.joint_id:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"the joint at {place.host}:{place.port} has the id {greeting.welcome.id}, but the arm "
            f"file says {place.joint_id}",
        )
    if not greeting.is_proved:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"the joint's proof is not by the key in {data}: it holds another one, or computes "
            "its proof in another way than the page",
        )
    try:
        stream = await proved(greeting)
    except Wrong as error:
        raise Failure(ExitCode.UNREACHABLE, f"it takes no proof: {error}") from error
    if stream in ("foreign", "busy"):
        raise Failure(
            ExitCode.REFUSED,
            f"another coordinator has this joint ({stream}): end that first, and wait for 5 s",
        )
    if isinstance(stream, Stream):
        await stream.close()


def _run(work: Coroutine[Any, Any, T]) -> T:
    """Run to the end; a signal cancels it, so that a joint is stopped first."""

    async def watched() -> T:
        task = asyncio.current_task()
        assert task is not None
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
        return await work

    try:
        return asyncio.run(watched())
    except asyncio.CancelledError:
        raise KeyboardInterrupt from None


@contextmanager
def _progress(count: int, *, is_quiet: bool) -> Iterator[Callable[[Result], None]]:
    """Shows how far it is on a terminal; elsewhere each check that failed, as it fails."""
    console = err()
    if is_quiet:
        yield lambda _: None
        return
    if not console.is_terminal:

        def tell_failed(found: Result) -> None:
            if found.outcome is Outcome.FAIL:
                console.print(f"fail: {found.id}")

        yield tell_failed
        return
    columns = (BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, TextColumn("{task.description}"), console=console) as progress:
        task = progress.add_task("", total=count)

        def tell(found: Result) -> None:
            progress.update(task, advance=1, description=found.id)
            if found.outcome is Outcome.FAIL:
                progress.console.print(f"fail: {found.id}")

        yield tell


def _told(
    results: list[Result], titles: dict[str, str], about: Mapping[str, object], *, as_json: bool
) -> ExitCode:
    """The table or the JSON, and the exit code."""
    found = counts(results)
    is_good = not found["fail"] and not any(one.is_blocked for one in results)
    if as_json:
        value = {"ok": is_good, **about, "counts": found}
        show_json({**value, "results": [one.to_json() for one in results]})
    else:
        for line in table(results, titles):
            out().print(line)
        out().print(summary(results))
    return ExitCode.DONE if is_good else ExitCode.NOT_FINISHED
