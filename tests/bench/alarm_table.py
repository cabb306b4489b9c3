"""The tables of alarms: shifts with faults, from each fault to its alarm, quiet days."""

from collections import Counter
from collections.abc import Sequence
from itertools import zip_longest

from protocol.constants import US
from tests.bench.alarm_days import Quiet, fed_shift, is_hard, quiet_day
from tests.bench.alarm_faults import FAULTS
from tests.bench.alarm_nearest import Nearest
from tests.bench.alarms import Case, Shift, missed, shift
from tests.bench.figures import percentile, show
from tests.bench.in_virtual_time import shared_out
from tests.bench.limits import rate_limits


def table(
    shifts: int, hours: float, quiet_hours: float, quiet_days: float, joints: int, seed: int,
    processes: int,
) -> list[str]:  # fmt: skip
    """The tables; gives which goals are missed.

    `quiet_hours` are of whole worlds, `quiet_days` of what joints say alone.
    """
    cases = [Case(seed + k, hours, FAULTS, joints) for k in range(shifts)]
    found = [one for _, one in shared_out(shift, cases, processes, "shifts")]
    fed = [one for _, one in shared_out(fed_shift, cases, processes, "the same, fed alone")]
    title = f"shifts of {hours:g} h in virtual time, {joints} joints, network home, a short move a "
    show(
        f"Alarms of {shifts} {title}minute, each with these {len(FAULTS)} faults once",
        (
            "shift", "plays", "alarms", "in 10 min", "most in 10 min", "floods", "chatter", "false",
            "the alarm layer fed alone",
        ),
        [
            (
                k, one.plays, len(one.alarms), f"{len(one.alarms) / (6 * one.hours):.3f}",
                one.most, one.floods_told, one.chatter, len(one.false),
                "not made" if other is None else same_words(one, other),
            )
            for k, (one, other) in enumerate(zip_longest(found, fed[: len(found)]))
        ],
        "Goals: 1 in ten minutes on average (EEMUA 191), no flood, no chatter, none false.",
    )  # fmt: skip
    rows = []
    for fault in FAULTS:
        took, alone = (
            [us / US for one in some for us in one.told_us.get(fault.name, [])]
            for some in (found, fed)
        )
        rows.append((fault.name, len(found), len(took), *_figures(took), *_figures(alone)))
    show(
        "From a fault to its first alarm, in s; of what warms, from passing its warning",
        ("fault", "times", "told", "least", "p50", "most", "fed alone: least", "p50", "most"),
        rows,
        "Told of none: an outage that passes, and a clock that is right again in seconds.",
    )
    broken = missed(found)
    if quiet_hours > 0.0:
        broken += _still_worlds(quiet_hours, joints, seed, processes)
    if quiet_days > 0.0:
        broken += _still_days(quiet_days, joints, seed, processes)
    return broken


def same_words(one: Shift, other: Shift) -> str:
    """Whether two ways of the same shift told the same alarms, and which each told alone."""
    mine, theirs = (Counter((a.joint, a.code) for a in some.alarms) for some in (one, other))
    if mine == theirs:
        return f"the same {len(one.alarms)}"
    only = [f"only here {code} of {joint}" for joint, code in (mine - theirs).elements()]
    only += [f"only there {code} of {joint}" for joint, code in (theirs - mine).elements()]
    return "; ".join(only)


def _figures(took_s: Sequence[float]) -> list[str]:
    return [f"{percentile(took_s, p):.1f}" for p in (0, 50, 100)] if took_s else ["–"] * 3


def _cases(days: float, joints: int, seed: int) -> list[Case]:
    """Quiet time, a day at a time."""
    each = min(24.0, 24.0 * days)
    return [Case(seed + k, each, (), joints) for k in range(max(1, round(24.0 * days / each)))]


def _still_worlds(hours: float, joints: int, seed: int, processes: int) -> list[str]:
    cases = _cases(hours / 24.0, joints, seed)
    still = [one for _, one in shared_out(shift, cases, processes, "quiet times")]
    days = sum(one.hours for one in still) / 24
    false = sum(len(one.alarms) for one in still)
    limits = rate_limits(false, days)
    show(
        f"False alarms of quiet time, {joints} joints, whole worlds",
        ("quiet days", "plays", "false alarms", "95 % limits, in a day"),
        [(f"{days:.2f}", sum(one.plays for one in still), false,
          f"{limits.low:.3f} to {limits.high:.3f}")],
    )  # fmt: skip
    return missed(still)


def _still_days(days: float, joints: int, seed: int, processes: int) -> list[str]:
    """By what joints say alone, and the alarm layer wherever one could have begun."""
    cases = _cases(days, joints, seed)
    still: list[tuple[Case, Quiet]] = list(shared_out(quiet_day, cases, processes, "quiet days"))
    kinds = [
        (words, [one for case, one in still if is_hard(case) is hard])
        for words, hard in (("as usual", False), ("hard work", True))
    ]
    show(
        f"False alarms of quiet days, {joints} joints, by what they say alone",
        (
            "joints", "days", "hours of joints", "exchanges", "fed to the alarm layer, hours",
            "false alarms", "95 % limits, in a day", "warmest below its warning, °C",
            "lowest above its warning, V", "longest loss, s",
        ),
        [(words, *days_row(found)) for words, found in kinds if found],
        "Goal: none of 100 quiet days. The limits hold for kinds of alarms that these days came "
        "near to, and for no other. Half hours of a joint in which an alarm could have begun: "
        + "; ".join(f"{words}: {could_words(found)}" for words, found in kinds if found) + ".",
    )  # fmt: skip
    return [words for _, one in still for words in told_of(one)]


def days_row(found: Sequence[Quiet]) -> list[str]:
    """What these days were, and how near to an alarm they came."""
    made = sum(one.hours for one in found) / 24
    alarms, near = sum(len(one.alarms) for one in found), Nearest()
    limits = rate_limits(alarms, made)
    for one in found:
        near.add(one.nearest)
    return [
        f"{made:.2f}", f"{sum(one.joint_hours for one in found):.0f}",
        f"{sum(one.exchanges for one in found):,}", f"{sum(one.fed_hours for one in found):.1f}",
        f"{alarms}", f"{limits.low:.3f} to {limits.high:.3f}", f"{near.below_warning_c:.2f}",
        f"{near.above_warning_v:.3f}", f"{near.longest_loss_s:.2f}",
    ]  # fmt: skip


def could_words(found: Sequence[Quiet]) -> str:
    """In how many half hours of a joint an alarm could have begun, by why."""
    could = sum((Counter(one.could) for one in found), Counter[str]())
    return ", ".join(f"{count} ({why})" for why, count in could.items()) or "none"


def told_of(one: Quiet) -> list[str]:
    """What a quiet time must not have."""
    told = [
        f"a false alarm of quiet days: {alarm.code} of {alarm.joint} at {alarm.at_us / US:.0f} s"
        for alarm in one.alarms
    ]
    return told + [
        f"one where none could have begun: {alarm.code} of {alarm.joint}"
        for alarm in one.unforeseen
    ]
