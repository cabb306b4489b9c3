"""A joint of an arm file, for what is watched of it."""

from functools import cache

from coordinator.config.joint import Joint
from tests.coordinator.core.kit import small_arm

S = 1_000_000
"""One second in µs."""


@cache
def tip() -> Joint:
    """It warns at 50 °C, stops at 58 °C, and stops below 18 V."""
    return small_arm().joint("tip")
