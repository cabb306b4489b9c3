"""Kill whoever writes the database at random instants: what was confirmed must be there.

A child process writes runs, events, acknowledgements, settings, what joints did and what is taught
(record, edit, undo, redo) as fast as the disk lets it, and prints a line for each once it is
confirmed. `kill -9` strikes after a random number of lines, or while the database is being opened.
Then what the next child would write over is looked for, and now and then and at the end all lines
of all children. The machine keeps running: what a power failure does is up to `synchronous =
FULL` and the disk.
"""

import asyncio
import contextlib
import hashlib
import os
import random
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import orjson
from sqlalchemy import Connection

from coordinator.core.events import Refused
from coordinator.history.cells import cell_of
from coordinator.history.collector import Collector
from coordinator.history.levels import LEVELS, Look
from coordinator.history.quantities import Counts
from coordinator.records.taught import TaughtKeeper, TaughtNow
from coordinator.store import (
    Store,
    acknowledgements,
    events,
    joint_history,
    runs,
    settings,
    taught,
)
from coordinator.store.taught import Kept
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import Taught, TaughtError
from coordinator.teaching.visit_edits import Record, Remove
from tests.bench.figures import show
from tests.coordinator.teaching.kit import ARM

ROOT: Final = Path(__file__).parents[2]
LINES_MAX: Final = 200
"""Confirmations after which a child is killed at the latest."""
LOOK_EVERY: Final = 25
"""Kills from one look for all lines to the next: of hundreds of children that takes seconds."""
PATIENCE_S: Final = 600.0
"""For such a look; a disk that hangs is not the question here."""
HISTORY_FROM_S: Final = 1_779_998_400
"""Unix time of a whole hour."""
HISTORY_BATCH: Final = 10
"""Samples of one joint in a transaction, each with one start."""
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
    taught: dict[int, str] = field(default_factory=dict)
    """What was shown as saved, by its revision."""
    history: dict[str, int] = field(default_factory=dict)
    """How many starts of each joint were written in all."""
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
            case "taught":
                self.taught[int(key)] = value
            case "history":
                self.history[key] = int(value)

    def look(self, connection: Connection) -> None:
        """Look for all of what stays as it was written."""
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

    def look_at_newest(self, connection: Connection) -> None:
        """Look for what the next writer goes on from."""
        for key, count in self.settings.items():
            value = settings.get(connection, key)
            if (value or 0) < count:
                self.missing.append(f"setting {key} was {count}, kept: {value}")
        for joint, starts in self.history.items():
            self._look_at_history(joint, starts, connection)
        self._look_at_taught(taught.load(connection), connection)

    def _look_at_history(self, joint: str, starts: int, connection: Connection) -> None:
        """All levels of a joint tell the same, whole batches, and no less than was confirmed."""
        kept = {}
        for level in LEVELS:
            look = Look(level, level.cell_s, HISTORY_FROM_S, HISTORY_FROM_S + 10**9)
            cells = joint_history.stretches(connection, joint, look)
            kept[level.cell_s] = sum(cell.counts.starts for _, cell in cells)
        least = min(kept.values())
        if least < starts or least % HISTORY_BATCH or len(set(kept.values())) > 1:
            self.missing.append(f"{joint} had {starts} starts, kept by length of cells: {kept}")

    def _look_at_taught(self, kept: Kept, connection: Connection) -> None:
        """What holds is what was shown last, or what came after it; and all changes come to it."""
        last = max(self.taught, default=0)
        if kept.revision < last:
            self.missing.append(f"taught revision {last} was shown, kept: {kept.revision}")
        shown = self.taught.get(kept.revision)
        if shown is not None and shown != digest(kept.taught):
            self.missing.append(f"taught revision {kept.revision} is not what was shown")
        whole = Taught() if kept.head is None else taught.as_after(connection, kept.head)
        if whole != kept.taught:
            self.missing.append(f"taught revision {kept.revision} is not what its changes come to")

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
        (
            "kills", "confirmed", "runs", "events", "acknowledgements", "settings", "taught",
            "joints", "missing",
        ),
        [
            (
                found.kills, found.lines, len(found.runs), len(found.events),
                len(found.acknowledgements), len(found.settings), len(found.taught),
                len(found.history), len(found.missing),
            )
        ],
    )  # fmt: skip
    return found.missing


async def kill(
    kills: int, seed: int, folder: Path, mode: str = "confirmed", database: str | None = None
) -> Confirmed:
    """Kill children that write into a folder's database; what they were told, and what was
    missing.
    """
    chance, found = random.Random(seed), Confirmed()
    # One process has everything imported, and forks the children.
    with subprocess.Popen(
        [sys.executable, "-m", "tests.bench.store_kills", str(folder), mode, database or ""],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as parent:
        for number in range(kills):
            await asyncio.to_thread(_one, parent, number, chance.randint(0, LINES_MAX), found)
            store = Store(folder, PATIENCE_S, database)
            await store.read(found.look_at_newest)
            if number % LOOK_EVERY == LOOK_EVERY - 1 or number == kills - 1:
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


def _fork_children(folder: Path, mode: str, database: str | None) -> None:
    """A child for every line of standard input, each after the end of the one before."""
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            asyncio.run(_write(folder, mode, database, int(line)))
        os.waitpid(pid, 0)
        _say("dead")


def digest(what: Taught) -> str:
    """Of all that was taught."""
    text = orjson.dumps(what, option=orjson.OPT_NON_STR_KEYS | orjson.OPT_SORT_KEYS)
    return hashlib.sha256(text).hexdigest()


def program(run: int) -> str:
    """A program that belongs to a run."""
    return f"(run {run})\nM2\n"


async def _write(folder: Path, mode: str, database: str | None, child: int) -> None:
    _say(f"up {os.getpid()}")
    store = Store(folder, database=database)
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

    async def teach(writer: int) -> None:
        if writer:
            return  # one at a time edits
        chance = random.Random(child)
        keeper = TaughtKeeper(store, ARM, lambda: {"turntable": 1.0, "shoulder": 2.0, "elbow": 3.0})
        now = await keeper.now()
        while True:
            with contextlib.suppress(TaughtError, Refused):
                now = await _taught_more(keeper, now, chance)
                _say(f"taught {now.revision} {digest(now.taught)}")
            await asyncio.sleep(0)

    async def write_history(writer: int) -> None:
        joint = f"joint-{writer}"
        _, done = await store.read(lambda connection: joint_history.in_all(connection, joint))
        starts = done.starts
        while True:
            collector = Collector()
            for _ in range(HISTORY_BATCH):
                sample = cell_of((starts, *(None,) * 6), Counts(starts=1))
                collector.add(joint, HISTORY_FROM_S + starts, sample)
                starts += 1
            cells = collector.drained()
            await confirmed(
                lambda connection, cells=cells: joint_history.add(connection, cells)  # type: ignore[misc]
            )
            _say(f"history {joint} {starts}")
            await asyncio.sleep(0)

    kinds: tuple[Callable[[int], Awaitable[None]], ...] = (
        write_events, write_acknowledgements, write_runs, write_settings, teach, write_history,
    )  # fmt: skip
    await asyncio.gather(*(kind(writer) for kind in kinds for writer in range(AT_ONCE)))


async def _taught_more(keeper: TaughtKeeper, now: TaughtNow, chance: random.Random) -> TaughtNow:
    """An edit, an undo or a redo, by chance."""
    kind = chance.random()
    if kind < 0.15:
        return await keeper.undo(now.revision)
    if kind < 0.25:
        return await keeper.redo(now.revision)
    if not now.taught.sequences:
        return await keeper.edit(now.revision, AddSequence("add-sequence", "kills"), "kills")
    (number,) = now.taught.sequences
    visits = len(now.taught.sequences[number].visits)
    if visits and kind < 0.4:
        edit: Remove | Record = Remove("remove", number, chance.randrange(visits))
    else:
        edit = Record("record", number, chance.randint(0, visits))
    return await keeper.edit(now.revision, edit, "kills")


def _say(line: str) -> None:
    os.write(1, f"{line}\n".encode())  # at once and in one piece, as pipe(7) promises


if __name__ == "__main__":
    _fork_children(Path(sys.argv[1]), sys.argv[2], sys.argv[3] or None)
