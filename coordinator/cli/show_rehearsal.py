"""Sentences and a table of what rehearsals showed."""

from collections.abc import Collection, Sequence
from typing import Final

from rich.table import Table

from coordinator.cli.show import NONE, ms, us
from coordinator.config.joint import Joint
from coordinator.health.supply import below_warning
from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.rehearsal.summary import Summary

TELLING: Final = 0.2
"""A share of starts that is only known to be below this says little."""


def rehearsal_sentences(summary: Summary, planned_s: float) -> list[str]:
    """What to expect of duration, starts, holds and feeding."""
    return [
        _duration(summary, planned_s),
        *_endings(summary),
        *_starts(summary),
        *_holds(summary),
        _feed(summary),
    ]


def supply_sentence(summary: Summary, joints: Sequence[Joint], fitted: Collection[str]) -> str:
    """The lowest volts of each joint, which comes nearest to stopping, and by whose figures."""
    lowest = summary.lowest_supply_v
    if not lowest:
        return "supply: nothing was seen of it"
    worst = min(joints, key=lambda joint: lowest[joint.name] - joint.supply_limit_v)
    each = ", ".join(f"{joint.name} {lowest[joint.name]:.1f} V" for joint in joints)
    whose = "the arm file's, none is fitted"
    if fitted:
        rest = "" if len(fitted) == len(joints) else ", the rest is the arm file's"
        whose = f"fitted to {', '.join(fitted)}{rest}"
    low = below_warning(joints, [lowest[joint.name] for joint in joints])
    return (
        f"lowest supply: {each}; {worst.name} is nearest to where it stops, "
        f"{worst.supply_limit_v:g} V; {low}{'; ' if low else ''}hop resistances: {whose}; what "
        "joints draw is assumed but for their currents"
    )


def rehearsal_table(summary: Summary, peaks: Sequence[JointPeaks]) -> Table:
    """One row a joint, base to tool: its starts, and what the plan asks of it at most."""
    table = Table(title="starts, and the most that the plan asks", title_justify="left")
    table.add_column("joint", no_wrap=True)
    fed = summary.buffer_margin_us
    headings = [
        "start margin, ms",
        "99 % have",
        "99 % off by, µs",
        *(["buffer margin"] if fed else []),
    ]
    for heading in (*headings, "°/s / limit", "line", "°/s² / limit", "line"):
        table.add_column(heading, justify="right")
    for joint in peaks:
        margin, off = summary.start_margin_us.get(joint.name), summary.off_us.get(joint.name)
        table.add_row(
            joint.name,
            _ms(margin.p50 if margin else None),
            _ms(margin.p01 if margin else None),
            NONE if off is None else f"{off.p99:.0f}",
            *([_ms(fed.get(joint.name))] if fed else []),
            *_peak(joint.velocity),
            *_peak(joint.acceleration),
        )
    return table


def _ms(value_us: float | None) -> str:
    return NONE if value_us is None else f"{value_us / 1_000:.0f}"


def _peak(peak: Peak) -> tuple[str, str]:
    return f"{peak.value:.1f} / {peak.limit:g}", str(peak.line) if peak.line else NONE


def _duration(summary: Summary, planned_s: float) -> str:
    said = f"duration: {planned_s:.1f} s as planned"
    if summary.duration_us is not None:
        seen = summary.duration_us
        said += f"; seen {seen.p50 / 1e6:.1f} s (p50), {seen.p99 / 1e6:.1f} s (p99)"
    if summary.wait_us is not None:
        wait = summary.wait_us
        said += f"; before it {wait.p50 / 1e6:.1f} s (p50), {wait.p99 / 1e6:.1f} s (p99)"
        said += " from the command to the start"
    return said


def _endings(summary: Summary) -> list[str]:
    ends = ", ".join(f"{count} {outcome}" for outcome, count in summary.outcomes.items())
    return [f"ends: {ends}", *(f"  {count} × {why}" for why, count in summary.reasons.items())]


def _starts(summary: Summary) -> list[str]:
    sentences = []
    if summary.start_skew_us is not None:
        skew = summary.start_skew_us
        said = f"start skew: {us(skew.p50)} (p50), {us(skew.p99)} (p99), {us(skew.most)} "
        said += f"at most in {skew.count}"
        if summary.start_skew_max_us is not None:
            said += f"; a report would prove {us(summary.start_skew_max_us.p99)} (p99)"
        sentences.append(said)
    if summary.start_delay_us is not None:
        delay = summary.start_delay_us
        sentences.append(f"start delay: {ms(delay.p50)} (p50), {ms(delay.most)} the longest")
    failed = summary.not_at_once
    sure = (
        f"95 % sure: under {failed.at_most * 100:.1f} % do not succeed at the first attempt"
        if failed.at_most <= TELLING
        else "too few rehearsals to tell how rare the others are"
    )
    sentences.append(
        f"starts: {failed.of - failed.count} of {failed.of} at the first attempt, "
        f"{summary.retried.count} at a later one, {summary.partial.count} partial, "
        f"{summary.refused.count} refused; {sure}"
    )
    return sentences


def _holds(summary: Summary) -> list[str]:
    if not summary.holds:
        return ["holds: none"]
    said = f"holds: {summary.holds}, {summary.holds_per_run:.2f} a run"
    if summary.holds_per_minute is not None:
        said += f", {summary.holds_per_minute:.2f} a minute"
    if summary.apart_us is not None:
        said += f"; joints at most {ms(summary.apart_us)} of path time apart"
    return [said, *(f"  {count} × {cause}" for cause, count in summary.hold_causes.items())]


def _feed(summary: Summary) -> str:
    if not summary.buffer_margin_us:
        return "feed: every joint's buffer holds all of its points before it starts"
    name, least = min(summary.buffer_margin_us.items(), key=lambda item: item[1])
    return f"buffer margin: {ms(least)} at least, of {name}"
