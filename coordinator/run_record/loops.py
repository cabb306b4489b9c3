"""How often a program was played, how long that took, and who or what held it up."""

from typing import Final

from coordinator.codes.delay import DELAY_WORDS
from coordinator.run_record.kept import US_PER_S, Kept
from coordinator.run_record.markup import Html, bullets, facts, paragraph, section

_INTERVENTIONS: Final = {
    "holds": "Holds by people",
    "takeovers": "Takeovers of control",
    "other_holds": "Other holds",
    "pauses": "Pauses",
    "speed_changes": "Changes of speed",
}


def asked_loops(report: Kept) -> str | None:
    """How often the program was to be played; None where that is not known."""
    for_s, loops = report.number("for_s"), report.whole("loops")
    if for_s is not None:
        asked = f"loops begun for {for_s:g} s"
    elif loops is not None:
        asked = "once" if loops == 1 else f"{loops} times"
    else:
        return None
    return f"{asked}, home edges checked between loops" if report.flag("check_edges") else asked


def loops_part(report: Kept) -> Html:
    """What became of the loops of a run."""
    asked = asked_loops(report)
    parts = [paragraph(f"To be played: {asked or 'not known'}.")]
    known = report.object("production")
    if known is None:
        parts.append(paragraph("How many loops were done, and how long they took, is not kept."))
        return section("Loops", *parts)
    slowest, hands = known.object("slowest"), known.object("interventions") or Kept({})
    parts.append(
        facts(
            [
                ("Loops done", known.whole("done")),
                ("Mean", _seconds(known.number("mean_us"))),
                *_of_edges(known),
                ("Slowest", _slowest(slowest)),
                *((name, hands.whole(member)) for member, name in _INTERVENTIONS.items()),
            ]
        )
    )
    if slowest is not None:
        delays = [_delay(one) for one in slowest.objects("delays")]
        parts.append(paragraph("What held the slowest loop up:"))
        parts.append(bullets(delays or ["Nothing is recorded."]))
    for name, what in (
        ("edges_passed", "was where it should be"),
        ("edges_unconfirmed", "was not seen"),
    ):
        counts = [f"{joint}: {count:.0f}" for joint, count in report.numbers(name).items() if count]
        if counts:
            parts.append(paragraph(f"How often each home edge {what} between loops:"))
            parts.append(bullets(counts))
    return section("Loops", *parts)


def _of_edges(known: Kept) -> list[tuple[str, str | None]]:
    """How much of the mean were checks of home edges, where there were some."""
    edges_us = known.number("edges_mean_us")
    return [] if edges_us is None else [("Of that to check home edges", _seconds(edges_us))]


def _slowest(cycle: Kept | None) -> str | None:
    if cycle is None:
        return None
    return f"loop {cycle.whole('loop')}, {_seconds(cycle.number('lasted_us'))}"


def _delay(delay: Kept) -> str:
    kind, why = delay.text("kind") or "", delay.text("why")
    what = DELAY_WORDS.get(kind, kind)
    because = "" if why is None else f" ({why})"
    return f"{what} {_seconds(delay.number('lasted_us'))}{because}"


def _seconds(us: float | None) -> str | None:
    return None if us is None else f"{us / US_PER_S:.1f} s"
