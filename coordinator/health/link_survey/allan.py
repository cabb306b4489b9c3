"""How much the rate of a clock changes from one stretch of time to the next (Allan deviation)."""

from collections.abc import Iterator, Sequence
from math import sqrt


def allan_deviation(offsets: Sequence[float | None], stride: int, spacing: float) -> float | None:
    """The overlapping estimate of IEEE Std 1139 over `stride` spacings; a pure number.

    `offsets` are read at even spacings, in the unit of `spacing`; None where there is none. None
    where fewer than `stride` triples of offsets that far apart are there, which would all overlap.
    """
    squares = [
        (later - 2 * middle + earlier) ** 2 for earlier, middle, later in _triples(offsets, stride)
    ]
    if len(squares) < stride:
        return None
    return _deviation(squares, stride, spacing)


def hidden_deviation(errors: Sequence[float | None], stride: int, spacing: float) -> float | None:
    """By how much `allan_deviation` of offsets may be wrong, each of which is wrong by as much as
    its error at most. Differences of errors that work together, since the root of a mean square
    is a norm (Minkowski).
    """
    squares = [
        (later + 2 * middle + earlier) ** 2 for earlier, middle, later in _triples(errors, stride)
    ]
    if len(squares) < stride:
        return None
    return _deviation(squares, stride, spacing)


def _triples(values: Sequence[float | None], stride: int) -> Iterator[tuple[float, float, float]]:
    for k in range(len(values) - 2 * stride):
        earlier, middle, later = values[k], values[k + stride], values[k + 2 * stride]
        if earlier is not None and middle is not None and later is not None:
            yield earlier, middle, later


def _deviation(squares: Sequence[float], stride: int, spacing: float) -> float:
    return sqrt(sum(squares) / (2 * len(squares))) / (stride * spacing)
