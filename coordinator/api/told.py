"""What the live feed tells: a state rounded to what is shown, and how one differs from the next.

Pure. See README.md here for the messages.
"""

from collections.abc import Mapping
from typing import Any, Final

_UNTOLD: Final = ("now_us", "notes", "joints")
"""Of a state: told in ways of their own."""
_DIGITS: Final = {
    "position_deg": 2,
    "velocity_deg_s": 1,
    "temperature_c": 1,
    "supply_v": 1,
    "loss": 3,
    "rtt_p50_us": -2,
    "rtt_p99_us": -2,
    "q_us": -3,
}
"""Decimals that a person sees; what lies behind them would only chatter."""
_BOUND_STEP_US: Final = 100
_LEAD_STEP_US: Final = 10_000


def told(snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """A snapshot as it is told. The age of what a joint said is left to who knows the time."""
    return {
        **snapshot,
        "next_start": _next_start(snapshot["next_start"]),
        "joints": [_joint(joint) for joint in snapshot["joints"]],
    }


def change(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, Any]:
    """What differs, as the members `set`, `joints` and `notes` of a message.

    Both are of one arm, so they have the same joints.
    """
    return {
        "set": {
            key: value
            for key, value in after.items()
            if key not in _UNTOLD and before.get(key) != value
        },
        "joints": {
            joint["name"]: differing
            for was, joint in zip(before["joints"], after["joints"], strict=True)
            if (differing := {key: v for key, v in joint.items() if was.get(key) != v})
        },
        "notes": _new(before["notes"], after["notes"]),
    }


def _joint(joint: Mapping[str, Any]) -> dict[str, Any]:
    shown = {key: _rounded(value, _DIGITS.get(key)) for key, value in joint.items()}
    clock = joint["clock"]
    bound_us, rate_ppm = _up(clock["bound_us"], _BOUND_STEP_US), _rounded(clock["rate_ppm"], 1)
    shown["clock"] = {**clock, "bound_us": bound_us, "rate_ppm": rate_ppm}
    del shown["age_us"]
    return shown


def _next_start(start: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if start is None:
        return None
    lead_us = _up(start["lead_us"], _LEAD_STEP_US)
    return {**start, "lead_us": lead_us, "within_us": _up(start["within_us"], _BOUND_STEP_US)}


def _up(us: int | None, step_us: int) -> int | None:
    """Rounded up, so that a bound stays one."""
    return None if us is None else -(-us // step_us) * step_us


def _rounded(value: Any, digits: int | None) -> Any:
    return value if digits is None or value is None else round(value, digits)


def _new(before: list[Any], after: list[Any]) -> list[Any]:
    """What was appended to a list that may have lost its oldest."""
    for k in range(len(before)):
        if before[k:] == after[: len(before) - k]:
            return after[len(before) - k :]
    return after
