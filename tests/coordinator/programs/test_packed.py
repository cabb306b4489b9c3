"""Many steps in little memory are the same steps."""

import pytest

from coordinator.programs import End, Move, PathControl, Target
from coordinator.programs.packed import FEW, PACKED, PackedSteps, kept
from coordinator.programs.steps import Step


def steps(count: int) -> list[Step]:
    found: list[Step] = [
        Move(k, 1, (Target(0, k / 7, 3), Target(2, -k / 9, 9)), False, k % 2 == 0,
             path_control=PathControl.CONTINUOUS)
        for k in range(count - 1)
    ]  # fmt: skip
    return [*found, End(count)]


@pytest.mark.parametrize("count", [1, FEW - 1, FEW, FEW + 1, FEW + PACKED, 3 * FEW + 5])
def test_steps_are_what_a_tuple_of_them_is(count: int) -> None:
    plain = tuple(steps(count))
    packed = kept(plain)
    assert isinstance(packed, PackedSteps) == (count >= FEW)
    assert len(packed) == count
    assert tuple(packed) == plain
    assert (packed[-1], packed[0], packed[count // 2]) == (plain[-1], plain[0], plain[count // 2])
    for where in (slice(0, count // 3), slice(count // 3, count), slice(1, None)):
        assert tuple(packed[where]) == plain[where]
    with pytest.raises(IndexError):
        packed[count]


def test_many_steps_take_no_more_than_their_text() -> None:
    packed = kept(steps(10 * FEW))
    assert isinstance(packed, PackedSteps)
    assert sum(map(len, packed._packs)) < 40 * len(packed)
