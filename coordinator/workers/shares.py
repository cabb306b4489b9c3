"""How far tasks are that other processes of this machine do: a file with a number for each.

A number is told by one process at a time and looked at by another; one that is read as it is being
written is another one a moment later.
"""

import os
import struct
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

_SHARE: Final = struct.Struct("<d")
MOST: Final = 0.99
LEAST: Final = 0.01
"""By which a share must have grown to be told again."""


@dataclass(frozen=True, slots=True)
class SharePlace:
    """Where a task tells its share. It goes to other processes."""

    path: str
    index: int


class Shares:
    """The shares of some tasks, each 0 to 1; 0 also for one whose result is there."""

    def __init__(self, path: str, count: int) -> None:
        self._path, self._count = path, count
        with open(path, "wb") as file:
            file.truncate(_SHARE.size * count)

    def place(self, index: int) -> SharePlace:
        """For the task with this index, from 0 on."""
        return SharePlace(self._path, index)

    def is_there(self, index: int) -> None:
        """The result of a task is there, and counts as itself."""
        tell_share(self.place(index), 0.0)

    def total(self) -> float:
        """All shares together, in tasks."""
        with open(self._path, "rb") as file:
            held = file.read(_SHARE.size * self._count)
        found: list[tuple[float]] = list(_SHARE.iter_unpack(held))
        return sum(share for (share,) in found)


@contextmanager
def shares(count: int) -> Iterator[Shares]:
    """For so many tasks; whoever tells of one afterwards tells nobody."""
    with tempfile.TemporaryDirectory(prefix="unisono-") as folder:
        yield Shares(os.path.join(folder, "shares"), count)


def tell_share(place: SharePlace, share: float) -> None:
    """How much of its task is done, 0 to 1. Where nobody wants to know any more nothing happens."""
    try:
        file = os.open(place.path, os.O_WRONLY | os.O_CLOEXEC)
    except OSError:
        return
    try:
        os.pwrite(file, _SHARE.pack(share), _SHARE.size * place.index)
    finally:
        os.close(file)


def teller(place: SharePlace | None) -> Callable[[float], None]:
    """Tells a task's share as it grows, now and then; nothing where there is no place. One that
    takes longer than was planned stays a little less than whole until its result is there.
    """
    told = 0.0

    def tell(share: float) -> None:
        nonlocal told
        share = min(share, MOST)
        if place is not None and share >= told + LEAST:
            told = share
            tell_share(place, share)

    return tell
