"""Angles, or their rates, of all joints, base to tool."""

import math
from typing import TypeAlias

Vector: TypeAlias = tuple[float, ...]


def difference(a: Vector, b: Vector) -> Vector:
    """A - b."""
    return tuple(p - q for p, q in zip(a, b, strict=True))


def scaled(a: Vector, factor: float) -> Vector:
    """A vector times a number."""
    return tuple(p * factor for p in a)


def further(a: Vector, direction: Vector, distance: float) -> Vector:
    """Where one is that far from `a`."""
    return tuple(p + u * distance for p, u in zip(a, direction, strict=True))


def length(a: Vector) -> float:
    """The Euclidean length: the distance that a feed rate counts (NISTIR 6556 §2.1.2.5)."""
    return math.hypot(*a)
