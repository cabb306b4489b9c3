"""What became of the motion: holds with their causes, speeds, and what was commanded by whom."""

from collections.abc import Sequence
from typing import Final

from coordinator.run_record.kept import Kept, micros, since
from coordinator.run_record.markup import Html, paragraph, section, table

_HOLDS: Final = ("hold at", "cause", "joints apart on the path", "rest not confirmed by")
_LINES: Final = ("at", "kind", "what", "who")
MOST_LINES: Final = 500
"""More are not told; the journal has them."""


def conducted(report: Kept) -> Html:
    """Holds and speeds, as the report has them."""
    holds, speeds = report.objects("holds"), report.objects("overrides")
    parts = [
        table("All holds", _HOLDS, [_hold(report, one) for one in holds])
        if holds
        else paragraph("No hold is recorded.")
    ]
    if speeds:
        rows = [(since(report, one.number("at_us")), _percent(one)) for one in speeds]
        parts.append(table("All speeds", ("speed from", "in per cent of the program's"), rows))
    elif report.lacks("overrides"):
        parts.append(paragraph("Whether the speed was changed is not known."))
    else:
        parts.append(paragraph("The speed was the program's, 100 %, all along."))
    counts = [report.whole(f"{what}_left_out") or 0 for what in ("holds", "overrides")]
    if any(counts):
        told = f"Of {counts[0]} holds and {counts[1]} speeds in between nothing is kept"
        parts.append(paragraph(f"{told}: a report has the first and the last."))
    return section("Holds and speed", *parts)


def _hold(report: Kept, hold: Kept) -> tuple[object, ...]:
    places = hold.numbers("path_us")
    unknown = [name for name, path_us in places.items() if path_us is None]
    apart = micros(hold.number("apart_us"))
    if unknown:
        apart = f"of {', '.join(unknown)} not known" + (f"; the others {apart}" if apart else "")
    resting = hold.words("unconfirmed")
    return (
        since(report, hold.number("at_us")),
        hold.text("cause"),
        apart,
        ", ".join(resting) if resting else ("not known" if hold.lacks("unconfirmed") else "none"),
    )


def _percent(override: Kept) -> str | None:
    percent = override.number("percent")
    return None if percent is None else f"{percent:g} %"


def journal_part(report: Kept, lines: Sequence[Kept] | None) -> Html:
    """Interventions, warnings and what else the journal has of the run."""
    heading = "Commands, warnings and what happened"
    if lines is None:
        return section(heading, paragraph("Not known: the journal does not have this run."))
    warned = [one for one in lines if one.text("level") in ("attention", "danger")]
    told = (
        "None of these lines is a warning."
        if not warned
        else f"Lines that ask for attention: {len(warned)}."
    )
    rows = [
        (
            since(report, one.number("at_us")),
            one.text("level"),
            one.text("message"),
            one.text("who") or "–",
        )
        for one in lines
    ]
    more = len(lines) >= MOST_LINES
    rest = [paragraph(f"Only the first {MOST_LINES} lines stand here.")] if more else []
    return section(heading, paragraph(told), table("Lines of the journal", _LINES, rows), *rest)
