"""The last seconds of every joint's angle and the last minutes of its temperature, for a page
that has just been opened. Pure: times come in, arm time in µs.
"""

from collections import deque
from typing import Final

from coordinator.core.snapshot.arm import ArmSnapshot
from protocol.constants import US

ANGLES_KEPT_US: Final = 10 * US
ANGLE_STEP_US: Final = 100_000
WARMTH_KEPT_US: Final = 600 * US
WARMTH_STEP_US: Final = 5 * US

Columns = dict[str, list[int] | list[float | None]]
"""Instants in `at_us`, and beside them what was so."""


class History:
    """Of one arm's joints, by name."""

    def __init__(self) -> None:
        self._angles: dict[str, deque[tuple[int, float | None]]] = {}
        self._warmth: dict[str, deque[tuple[int, float | None]]] = {}

    def take(self, arm: ArmSnapshot) -> None:
        """Keep what is known of an arm, unless something nearly as new is kept already."""
        now = arm.now_us
        for joint in arm.joints:
            name, heard_us = joint.name, joint.heard_at_us
            # Nothing is known of a joint while it is silent: what is kept ends there.
            if heard_us is None:
                continue
            angles = self._angles.setdefault(name, deque())
            _keep(angles, heard_us, joint.position_deg, ANGLE_STEP_US, ANGLES_KEPT_US, now)
            warmth = self._warmth.setdefault(name, deque())
            # What cannot be believed is no temperature.
            celsius = joint.temperature_c if joint.plausible else None
            _keep(warmth, heard_us, celsius, WARMTH_STEP_US, WARMTH_KEPT_US, now)

    def kept(self) -> dict[str, dict[str, Columns]]:
        """All that is kept, oldest first."""
        return {
            "joints": {name: _columns(kept, "deg") for name, kept in self._angles.items()},
            "temperature": {name: _columns(kept, "c") for name, kept in self._warmth.items()},
        }


def _keep(
    kept: deque[tuple[int, float | None]],
    at_us: int,
    value: float | None,
    step_us: int,
    kept_us: int,
    now: int,
) -> None:
    # A new session of a laptop that slept may begin with an earlier arm time.
    if kept and at_us < kept[-1][0]:
        kept.clear()
    if not kept or at_us - kept[-1][0] >= step_us:
        kept.append((at_us, value))
    while kept[0][0] < now - kept_us and len(kept) > 1:
        kept.popleft()


def _columns(kept: deque[tuple[int, float | None]], name: str) -> Columns:
    return {"at_us": [at_us for at_us, _ in kept], name: [value for _, value in kept]}
