"""Kill whoever writes the database at random instants: what was confirmed must be there.

A child process writes runs, events, acknowledgements and settings as fast as the disk lets it, and
prints a line for each once it is confirmed. `kill -9` strikes after a random number of lines, or
while the database is being opened. Then all lines of all children so far are looked for. The
machine keeps running: what a power failure does is up to `synchronous = FULL` and the disk.
"""

import asyncio
import os
import random
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection

from coordinator.store import Store, acknowledgements, events, runs, settings
from tests.bench.figures import show

ROOT: Final = Path(__file__).parents[2]
LINES_MAX: Final = 200
"""Confirmations after which a child is killed at the latest."""
AT_ONCE: Final = 8
"""Writers of each kind, so that writes share transactions."""


@dataclass(slots=True)
class Confirmed:
    """What children were told to be on the disk."""

    events: dict[int, str] = field(default_factory=dict)
    acknowledgements: dict[int, str] = field(default_factory=dict)
    runs: dict[int, int] = field(default_factory=dict)
    """How far each run's report had grown."""
    settings: dict[str, int] = field(default_factory=dict)
    """How often each setting was changed in all."""
    kills: int = 0
    lines: int = 0
    missing: list[str] = field(default_factory=list)

    def take(self, line: str) -> None:
        """Take down a child's line."""
        kind, key, value = line.split()
        self.lines += 1
        match kind:
            case "event":
                self.events[int(key)] = value
            case "acknowledgement":
                self.acknowledgements[int(key)] = value
            case "run":
                self.runs[int(key)] = int(value)
            case "setting":
                self.settings[key] = int(value)

    def look(self, connection: Connection) -> None:
        """Look for all of it."""
        kept = {one["id"]: one["message"] for one in events.newest(connection, None, 2**31)}
        self._compare("event", self.events, kept)
        seen = {one["id"]: one["who"] for one in acknowledgements.every(connection)}
        self._compare("acknowledgement", self.acknowledgements, seen)
        for run, grown in self.runs.items():
            report = runs.load(connection, run)
            if report is None or report["grown"] < grown:
                self.missing.append(f"run {run} had grown {grown} times, kept: {report}")
            elif runs.program(connection, run) != program(run):
                self.missing.append(f"run {run} has lost its program")
        for key, count in self.settings.items():
            value = settings.get(connection, key)
            if (value or 0) < count:
                self.missing.append(f"setting {key} was {count}, kept: {value}")

    def _compare(self, kind: str, confirmed: dict[int, str], kept: dict[int, str]) -> None:
        self.missing += [
            f"{kind} {number} was {text}, kept: {kept.get(number)}"
            for number, text in confirmed.items()
            if kept.get(number) != text
        ]


def table(kills: int, seed: int, folder: Path) -> list[str]:
    """Kill so often and show what was found; gives what was missing."""
    found = asyncio.run(kill(kills, seed, folder))
    show(
        "Whoever writes the database killed (SIGKILL) at random instants, in one folder",
        ("kills", "confirmed", "runs", "events", "acknowledgements", "settings", "missing"),
        [
            (
                found.kills, found.lines, len(found.runs), len(found.events),
                len(found.acknowledgements), len(found.settings), len(found.missing),
            )
        ],
    )  # fmt: skip
    return found.missing


async def kill(kills: int, seed: int, folder: Path, mode: str = "confirmed") -> Confirmed:
    """Kill children that write into a folder; what they were told, and what was missing."""
    chance, found = random.Random(seed), Confirmed()
    # One process has everything imported, and forks the children.
    with subprocess.Popen(
        [sys.executable, "-m", "tests.bench.store_kills", str(folder), mode],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as parent:
        for number in range(kills):
            await asyncio.to_thread(_one, parent, number, chance.randint(0, LINES_MAX), found)
            store = Store(folder)
            await store.read(found.look)
            await store.close()
    return found


def _one(parent: subprocess.Popen[str], number: int, lines: int, found: Confirmed) -> None:
    """One child from its start to its kill."""
    assert parent.stdin is not None
    assert parent.stdout is not None
    parent.stdin.write(f"{number}\n")
    parent.stdin.flush()
    up, pid = parent.stdout.readline().split()
    assert up == "up"
    for _ in range(lines):
        found.take(parent.stdout.readline())
    os.kill(int(pid), signal.SIGKILL)
    while (line := parent.stdout.readline()) != "dead\n":  # what it said before it died
        found.take(line)
    found.kills += 1


# ---- the children -------------------------------------------------------------------------


def _fork_children(folder: Path, mode: str) -> None:
    """A child for every line of standard input, each after the end of the one before."""
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            asyncio.run(_write(folder, mode, int(line)))
        os.waitpid(pid, 0)
        _say("dead")


def program(run: int) -> str:
    """A program that belongs to a run."""
    return f"(run {run})\nM2\n"


async def _write(folder: Path, mode: str, child: int) -> None:
    _say(f"up {os.getpid()}")
    store = Store(folder)
    next_run = store.last_run

    async def confirmed(work: Callable[[Connection], Any]) -> Any:
        written = store.write(work)
        # So that it shows that the table finds what is missing: an answer before the commit.
        return 0 if mode == "too-early" else await written

    async def write_events(writer: int) -> None:
        for count in range(10**9):
            text = f"{child}-{writer}-{count}"
            number = await confirmed(
                lambda connection, text=text: events.add(  # type: ignore[misc]
                    connection, utc="", at_us=0, level="info", code="test", message=text
                )
            )
            _say(f"event {number} {text}")
            await asyncio.sleep(0)

    async def write_acknowledgements(writer: int) -> None:
        for count in range(10**9):
            who = f"{child}-{writer}-{count}"
            number = await confirmed(
                lambda connection, who=who: acknowledgements.add(connection, "x", who)  # type: ignore[misc]
            )
            _say(f"acknowledgement {number} {who}")
            await asyncio.sleep(0)

    async def write_runs(_writer: int) -> None:
        nonlocal next_run
        while True:
            next_run += 1
            run = next_run
            report = {"run": run, "name": "a.nc", "outcome": "finished", "message": "", "grown": 0}
            await confirmed(
                lambda connection, report=report, run=run: runs.begin(  # type: ignore[misc]
                    connection, report, program(run)
                )
            )
            _say(f"run {run} 0")
            for grown in range(1, 10):
                await confirmed(
                    lambda connection, more={**report, "grown": grown}: runs.save(connection, more)  # type: ignore[misc]
                )
                _say(f"run {run} {grown}")
                await asyncio.sleep(0)

    async def write_settings(writer: int) -> None:
        key = f"key-{writer}"
        count = await store.read(lambda connection: settings.get(connection, key)) or 0
        while True:
            count += 1
            await confirmed(
                lambda connection, count=count: settings.put(connection, key, count)  # type: ignore[misc]
            )
            _say(f"setting {key} {count}")
            await asyncio.sleep(0)

    kinds: tuple[Callable[[int], Awaitable[None]], ...] = (
        write_events, write_acknowledgements, write_runs, write_settings,
    )  # fmt: skip
    await asyncio.gather(*(kind(writer) for kind in kinds for writer in range(AT_ONCE)))


def _say(line: str) -> None:
    os.write(1, f"{line}\n".encode())  # at once and in one piece, as pipe(7) promises


if __name__ == "__main__":
    _fork_children(Path(sys.argv[1]), sys.argv[2])
