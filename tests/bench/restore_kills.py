"""Kill whoever restores a backup, or makes one: the old folder or the new one is there, whole.

A child restores over a folder that has another arm's data, and is killed at one of its steps (each
call to the system that Python tells of, sys.addaudithook) or after a random time, by a timer whose
signal nothing handles: as by `kill -9`. Then the folder and all beside it is looked at, and the
same is done once more without a kill. On a disk that cannot exchange two names there is an instant
without the folder, of two renames: then the old one must be whole beside its place, and the new one
too, and whoever looks for the folder must be told. The machine keeps running: what a power failure
does is up to fsync(2) and the disk.
"""

import itertools
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from coordinator.backup import in_place
from coordinator.backup.container import opened
from coordinator.backup.make import back_up
from coordinator.backup.restore import restore
from coordinator.config.data_folder import DataFolderError, make_key, read_key
from coordinator.store.opening import known_revisions
from tests.bench.figures import show
from tests.coordinator.backup.kit import everything, full_folder

ROOT: Final = Path(__file__).parents[2]
NOW: Final = datetime(2026, 12, 1, tzinfo=UTC)
BY_TWO: Final = "restore by two renames"
WHAT: Final = ("restore", BY_TWO, "backup")
STEPS: Final = ("open", "os.", "shutil.", "sqlite3.", "fcntl.", "ctypes.")
"""Beginnings of the names of events that count as steps."""


@dataclass(slots=True)
class Found:
    """What became of restores, or backups, that were killed."""

    kills: int = 0
    old: int = 0
    """After how many the old state was there."""
    new: int = 0
    between: int = 0
    """After how many there was neither, and both whole beside its place."""
    wrong: list[str] = field(default_factory=list)


def table(kills: int, seed: int, folder: Path) -> list[str]:
    """Kill at every step, and so often at random; gives what was wrong."""
    rows, wrong = [], []
    for what in WHAT:
        at_steps = at_every_step(what, folder / f"{what}-steps")
        at_random = at_random_times(what, kills, seed, folder / f"{what}-random")
        for how, found in (("every step", at_steps), ("random times", at_random)):
            counts = found.kills, found.old, found.between, found.new, len(found.wrong)
            rows.append((what, how, *counts))
            wrong += found.wrong
    show(
        "Whoever restores or makes a backup killed",
        ("what", "when", "kills", "old there", "between", "new there", "wrong"),
        rows,
    )
    return wrong


def at_every_step(what: str, folder: Path) -> Found:
    """Kill at the first step, the second, and so on until it came to its end."""
    found, prepared = Found(), _Prepared(folder)
    with _parent() as parent:
        step, killed = 1, True
        while killed:
            killed, _ = prepared.attempt(parent, what, f"step {step}", found)
            step += 1
    return found


def at_random_times(what: str, kills: int, seed: int, folder: Path) -> Found:
    """Kill after random times of what one took that nobody killed."""
    found, prepared, chance = Found(), _Prepared(folder), random.Random(seed)
    with _parent() as parent:
        prepared.attempt(parent, what, "step 0", Found())  # the first one takes longer
        _, whole_s = prepared.attempt(parent, what, "step 0", Found())
        while found.kills < kills:
            delay_s = chance.uniform(0.0001, whole_s)
            prepared.attempt(parent, what, f"after {delay_s:.6f}", found)
    return found


class _Prepared:
    """An arm's folder with a backup of it, and the folder of another arm."""

    def __init__(self, folder: Path) -> None:
        arm = full_folder(folder / "new")
        self._old, self._place = folder / "old", folder / "place"
        make_key(self._old)
        (self._old / "notes.txt").write_text("of the old one")
        self._arm, self._data, self._backup = arm, folder / "new", folder / "whole.backup"
        back_up(self._data, arm, self._backup, None, NOW)
        restore(self._backup, folder / "restored", None, NOW)
        self._wanted = everything(folder / "restored")
        self._was = everything(self._old)

    def attempt(
        self, parent: subprocess.Popen[str], what: str, how: str, found: Found
    ) -> tuple[bool, float]:
        """One attempt, killed or not: which, and how long it took."""
        shutil.rmtree(self._place, ignore_errors=True)
        self._place.mkdir()
        data = self._place / "data"
        if what != "backup":
            shutil.copytree(self._old, data)
            words = f"{how}\t{what}\t{self._backup}\t{data}"
        else:
            words = f"{how}\tbackup\t{self._data}\t{self._arm}\t{self._place / 'made'}"
        begun_s = time.monotonic()
        killed = _one(parent, words)
        took_s = time.monotonic() - begun_s
        is_between = what == BY_TWO and killed and not data.exists()
        is_new, wrong = self._look_made() if what == "backup" else self._look(data, is_between)
        if killed:
            found.kills += 1
            found.between += is_between
            found.new += is_new
            found.old += not is_new and not is_between
        if not killed and how.startswith("step"):
            wrong += self._look_tidy(what)
        found.wrong += [f"{what}, killed at {how}: {one}" for one in wrong]
        return killed, took_s

    def _look(self, data: Path, is_between: bool) -> tuple[bool, list[str]]:
        """Whether the new state is there, and what is wrong."""
        wrong = self._look_between(data) if is_between else []
        is_new = _content(data) == self._wanted
        if not (is_new or is_between) and _content(data) != self._was:
            wrong.append(f"there is neither the old nor the new folder: {sorted(_content(data))}")
        beside = [_content(one) for one in self._place.iterdir()]
        if self._was not in beside:
            wrong.append("what was there before is lost")
        shown = [one for one in self._place.iterdir() if not one.name.startswith(".")]
        if not all(_content(one) in (self._was, self._wanted) for one in shown):
            wrong.append("a part of a folder has a name to be seen")
        try:
            restore(self._backup, data, None, NOW, replace=True)
        except DataFolderError as error:
            wrong.append(f"it cannot be restored any more: {error}")
        if _content(data) != self._wanted:
            wrong.append("what is restored then is not what was backed up")
        return is_new, wrong

    def _look_between(self, data: Path) -> list[str]:
        """Where there is no folder: what is wrong."""
        wrong = []
        if self._wanted not in [_content(one) for one in self._place.iterdir()]:
            wrong.append("there is no folder, and the new one is not whole beside its place")
        for ask in (read_key, make_key):
            try:
                ask(data)
            except DataFolderError as error:
                if "cut short" not in str(error):
                    wrong.append(f"whoever looks for the folder is told: {error}")
            else:
                wrong.append("a new folder was made in its place")
        return wrong

    def _look_made(self) -> tuple[bool, list[str]]:
        """Whether there is a backup, and what is wrong."""
        wrong, to = [], self._place / "made"
        if is_there := to.exists():
            with opened(to) as archive:
                archive.read(lambda _member: len)
            to.unlink()
        back_up(self._data, self._arm, to, None, NOW)
        if to.read_bytes() != self._backup.read_bytes():
            wrong.append("another backup is not the same")
        return is_there, wrong

    def _look_tidy(self, what: str) -> list[str]:
        """Nothing hidden is left where nothing was killed."""
        hidden = [one.name for one in self._place.iterdir() if one.name.startswith(".")]
        return [f"{what} left {hidden}"] if hidden else []


def _content(folder: Path) -> dict[str, bytes]:
    found = everything(folder) if folder.is_dir() else {}
    return {name: content for name, content in found.items() if name != "lock"}


@contextmanager
def _parent() -> Iterator[subprocess.Popen[str]]:
    """One process has everything imported, and forks the children."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.bench.restore_kills"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as parent:
        yield parent
        assert parent.stdin is not None
        parent.stdin.close()


def _one(parent: subprocess.Popen[str], words: str) -> bool:
    """Have one child do that; whether it was killed."""
    assert parent.stdin is not None
    assert parent.stdout is not None
    parent.stdin.write(f"{words}\n")
    parent.stdin.flush()
    said = parent.stdout.readline().strip()
    if said not in ("killed", "ended"):
        raise AssertionError(f"{words}: {said}")
    return said == "killed"


# ---- the children -------------------------------------------------------------------------


def _fork_children() -> None:
    """A child for every line of standard input, each after the end of the one before."""
    known_revisions()  # read once for all of them
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            _do(line.rstrip("\n"))
            os._exit(0)
        _, status = os.waitpid(pid, 0)
        ended = os.waitstatus_to_exitcode(status)
        told = {0: "ended", -signal.SIGKILL: "killed", -signal.SIGALRM: "killed"}
        os.write(1, f"{told.get(ended, f'ended with {ended}')}\n".encode())


def _do(line: str) -> None:
    how, what, *paths = line.split("\t")
    if what == BY_TWO:
        in_place._exchange = lambda one, other: False
    kind, number = how.split()
    _strike_at(int(number)) if kind == "step" else signal.setitimer(
        signal.ITIMER_REAL, float(number)
    )
    if what != "backup":
        restore(Path(paths[0]), Path(paths[1]), None, NOW, replace=True)
    else:
        back_up(Path(paths[0]), Path(paths[1]), Path(paths[2]), None, NOW)


def _strike_at(wanted: int) -> None:
    """Be killed at so many steps from here."""
    steps = itertools.count(1)

    def hear(event: str, _arguments: object) -> None:
        if event.startswith(STEPS) and next(steps) == wanted:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hear)


if __name__ == "__main__":
    _fork_children()
