"""The figures of a run in loops, in words."""

from typing import TYPE_CHECKING, Final

from coordinator.codes.delay import DELAY_WORDS

if TYPE_CHECKING:
    from coordinator.client.values import (
        Cycle,
        Delay,
        Interventions,
        KeptReport,
        Production,
        RunSnapshot,
    )

_INTERVENTIONS: Final = (
    ("holds", "hold by people", "holds by people"),
    ("takeovers", "takeover", "takeovers"),
    ("other_holds", "other hold", "other holds"),
    ("pauses", "pause", "pauses"),
    ("speed_changes", "change of speed", "changes of speed"),
)


def loop_words(run: "RunSnapshot") -> str:
    """Which loop of how many; empty for a program that is played once."""
    if run.loops == 1:
        return ""
    of = "" if run.loops is None else f" of {run.loops}"
    what = "home edges before loop" if run.checks_edges_now else "loop"
    return f", {what} {run.loop or '–'}{of}"


def progress_words(run: "RunSnapshot") -> str:
    """The same, with how many are done, how long each takes, and how long it goes on."""
    told = loop_words(run)
    production = run.production
    if told and production.mean_us is not None:
        told += f", {production.done} done{_each(production)}"
    if told and run.to_go_us is not None:
        told += f", {seconds(run.to_go_us)} {'to go' if run.for_s is None else 'left to begin one'}"
    return told


def production_remarks(report: "KeptReport") -> list[str]:
    """Sentences about the loops of a run that was to have several, and about who interfered."""
    if report.loops == 1:
        return []
    known = report.production
    asked = f"in {report.for_s:g} s" if report.for_s is not None else f"of {report.loops}"
    remarks = [f"loops: {known.done} done {asked}{_each(known)}"]
    if known.slowest is not None and known.done > 1:
        remarks.append(_slowest(known.slowest))
    if told := _interventions(known.interventions):
        remarks.append(f"interventions: {told}")
    for word, counts in (
        ("as it should be", report.edges_passed),
        ("not seen", report.edges_unconfirmed),
    ):
        if counts:
            times = ", ".join(f"{name} {count}" for name, count in counts.items())
            remarks.append(f"home edge between loops, times {word}: {times}")
    return remarks


def _each(known: "Production") -> str:
    """What a loop takes, with and without the checks of home edges; empty where nobody knows."""
    if known.mean_us is None:
        return ""
    told = f", {seconds(known.mean_us)} each"
    if known.edges_mean_us is None:
        return told
    without_us = known.mean_us - known.edges_mean_us
    return f"{told}, {seconds(without_us)} without the checks of home edges"


def seconds(us: int) -> str:
    """A time for people."""
    whole = us / 1e6
    return f"{whole:.1f} s" if whole < 120.0 else f"{whole / 60.0:.1f} min"


def _slowest(cycle: "Cycle") -> str:
    why = "; ".join(map(_delay, cycle.delays)) or "nothing is recorded that held it up"
    return f"slowest: loop {cycle.loop}, {seconds(cycle.lasted_us)}: {why}"


def _delay(delay: "Delay") -> str:
    what = DELAY_WORDS.get(delay.kind, delay.kind)
    if delay.kind == "waited":
        return f"{what} {delay.why} {seconds(delay.lasted_us)}"
    because = f" ({delay.why})" if delay.why else ""
    return f"{what} {seconds(delay.lasted_us)}{because}"


def _interventions(known: "Interventions") -> str:
    told = []
    for member, one, several in _INTERVENTIONS:
        if count := getattr(known, member):
            told.append(f"{count} {one if count == 1 else several}")
    return ", ".join(told)
