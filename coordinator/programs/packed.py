"""Steps of a long program, packed: a tenth of the memory, unpacked some hundred at a time.

Whoever goes through them one after another sees what a tuple of them would be.
"""

import pickle
import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Final, overload

from coordinator.programs.steps import Step

FEW: Final = 4_096
"""Steps that are kept as they are."""
PACKED: Final = 512
"""Packed at once."""


class PackedSteps(Sequence[Step]):
    """Many steps. To look at one by its index takes as long as to unpack its neighbours."""

    def __init__(self, packs: Sequence[bytes], count: int) -> None:
        self._packs = packs
        self._count = count

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[Step]:
        for number in range(len(self._packs)):
            yield from self._unpacked(number)

    @overload
    def __getitem__(self, index: int) -> Step: ...

    @overload
    def __getitem__(self, index: slice) -> Sequence[Step]: ...

    def __getitem__(self, index: int | slice) -> Step | Sequence[Step]:
        if isinstance(index, slice):
            return kept(islice(self, *index.indices(self._count)))
        at = index + self._count if index < 0 else index
        if not 0 <= at < self._count:
            raise IndexError(index)
        return self._unpacked(at // PACKED)[at % PACKED]

    def _unpacked(self, number: int) -> list[Step]:
        steps: list[Step] = pickle.loads(zlib.decompress(self._packs[number]))
        return steps


class StepKeeper:
    """Steps that are kept one by one, until they are `done`."""

    def __init__(self) -> None:
        self._packs: list[bytes] = []
        self._plain: list[Step] = []

    def __len__(self) -> int:
        return len(self._packs) * PACKED + len(self._plain)

    def add(self, step: Step) -> None:
        """The next one."""
        self._plain.append(step)
        if len(self._plain) >= (PACKED if self._packs else FEW):
            self._pack()

    def done(self) -> Sequence[Step]:
        """All of them."""
        if not self._packs:
            return tuple(self._plain)
        count = len(self)
        self._pack()
        return PackedSteps(self._packs, count)

    def _pack(self) -> None:
        for begin in range(0, len(self._plain), PACKED):
            steps = self._plain[begin : begin + PACKED]
            self._packs.append(zlib.compress(pickle.dumps(steps, 5), 1))
        self._plain = []


def kept(steps: Iterable[Step]) -> Sequence[Step]:
    """Steps that are kept, packed where there are many."""
    keeper = StepKeeper()
    for step in steps:
        keeper.add(step)
    return keeper.done()
