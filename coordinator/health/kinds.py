"""Every kind of warning there is: the one table of alarms, with its reasons.

Why each is an alarm, how soon somebody must act, what is likely behind it, what comes of it and
what to do stand in the kind itself, beside what finds it; here they are together, for whoever looks
them up by their code and for the page that people read (docs/alarms.md).
"""

from typing import Final

from coordinator.codes.priority import Priority
from coordinator.health import home_wandered, link, lopsided, plausible, supply, temperature
from coordinator.health.alarm_kind import Kind

KINDS: Final = (
    link.LOST,
    supply.GONE,
    temperature.HOT,
    home_wandered.WANDERED,
    temperature.WARM,
    temperature.FAN_STILL,
    plausible.IMPLAUSIBLE,
    supply.LOW,
    link.CLOCK,
    supply.SHORT,
    link.POOR,
    link.LOSSY,
    lopsided.LOPSIDED,
    link.DOUBTED,
)
"""Most pressing first; what is for the journal alone last."""
BY_CODE: Final[dict[str, Kind]] = {kind.code: kind for kind in KINDS}


def table() -> str:
    """All alarms as they stand in docs/alarms.md."""
    lines = [
        "| alarm | priority | likely cause | if nobody acts | what to do |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| `{kind.code}` | {kind.priority} | {kind.cause} | {kind.consequence} | {kind.advice} |"
        for kind in KINDS
        if kind.priority is not Priority.JOURNAL
    ]
    return "\n".join(lines)


def delays() -> str:
    """When each begins and ends, as it stands there."""
    lines = [
        "| alarm | begins after | ends after | dead band: it ends at | may be shelved |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| `{kind.code}` | {_seconds(kind.begin_after_us)} | {_seconds(kind.end_after_us)} | "
        f"{kind.dead_band} | {'yes' if kind.may_be_shelved else 'never'} |"
        for kind in KINDS
        if kind.priority is not Priority.JOURNAL
    ]
    return "\n".join(lines)


def _seconds(us: int) -> str:
    return f"{us / 1e6:g} s" if us else "at once"
