"""Starts with the proof of how close together the joints began, and what was played in between."""

from typing import Final

from coordinator.core.run.report import start_numbers
from coordinator.pictures.run import Span, course_picture, start_picture
from coordinator.run_record.kept import US_PER_S, Kept, micros, since
from coordinator.run_record.markup import Html, element, paragraph, section, table, text

MOST_DRAWN: Final = 12
"""Starts that have a picture and a table of their own; the table of all starts has the rest."""
_HEADINGS: Final = (
    "start", "at", "part", "from path time", "attempts", "set ahead by", "skew, estimated",
    "skew, proved at most",
)  # fmt: skip
_OF_JOINT: Final = (
    "joint", "proved not before", "proved not after", "start margin", "clock uncertainty",
    "worst link delay",
)  # fmt: skip
_MEANS: Final = (
    "Skew is the time from the first joint's start to the last one's. What is proved holds "
    "whatever the network did, as long as the joints' crystals keep their tolerance; the estimate "
    "is the middle of what is proved, and stands only where it says something. Instants are µs "
    "from the instant that was set for all."
)
_DRAWN: Final = (
    "A bar goes from a start to the next start, to a hold or to the run's end. When a pause or a "
    "wait of the program began is not kept, so those lie within the bars: not all the time of a "
    "bar was motion."
)


def starts_part(report: Kept) -> Html:
    """All starts and resumes, and the proof of each."""
    starts = report.objects("starts")
    if not starts:
        return section(
            "Starts", paragraph("No start of all joints is recorded."), *_partial(report)
        )
    numbers = start_numbers(len(starts), max(0, report.whole("starts_left_out") or 0))
    rows = [
        (f"{number}, {_kind(one)}", *_row(report, one))
        for number, one in zip(numbers, starts, strict=True)
    ]
    proofs = [part for k, one in enumerate(starts[:MOST_DRAWN], 1) for part in _proof(k, one)]
    return section(
        "Starts",
        *_course(report, starts, numbers),
        table("All starts", _HEADINGS, rows, kind="figures"),
        *_left_out(report),
        *_partial(report),
        paragraph(_MEANS),
        *proofs,
    )


def _left_out(report: Kept) -> list[Html]:
    count = report.whole("starts_left_out")
    told = (
        f"Of {count} starts in between nothing is kept: a report has the first and the last. The "
        "drawing is dashed there."
    )
    return [paragraph(told)] if count else []


def _kind(start: Kept) -> str:
    return "a resume" if (start.number("path_us") or 0) > 0 else "a start"


def _row(report: Kept, start: Kept) -> tuple[object, ...]:
    path_us = start.number("path_us")
    return (
        since(report, start.number("at_us")),
        start.whole("part"),
        None if path_us is None else f"{path_us / US_PER_S:.3f} s",
        start.whole("attempts"),
        micros(start.number("start_delay_us")),
        micros(start.number("start_skew_us")) or "no estimate",
        micros(start.number("start_skew_max_us")) or "not proved",
    )


def _partial(report: Kept) -> list[Html]:
    count = report.whole("partial_starts")
    return [paragraph(f"Starts in which some joints began alone: {count}.")] if count else []


def _course(report: Kept, starts: list[Kept], numbers: list[int]) -> list[Html]:
    """Its starts and holds over time, drawn where the run's end is known."""
    began_us, ended_us = report.number("began_at_us"), report.number("ended_at_us")
    begins = [one.number("at_us") for one in starts]
    holds = [one.number("at_us") for one in report.objects("holds")]
    known = [at_us for at_us in (*begins, *holds) if at_us is not None]
    if began_us is None or ended_us is None or len(known) != len(begins) + len(holds):
        return []

    def seconds(at_us: float) -> float:
        return (at_us - began_us) / US_PER_S

    spans = []
    gap: tuple[float, float] | None = None
    for k, at_us in enumerate(known[: len(begins)]):
        if k + 1 < len(numbers) and numbers[k + 1] != numbers[k] + 1:
            spans.append(Span(seconds(at_us), None, held=False))
            gap = seconds(at_us), seconds(known[k + 1])
            continue
        next_us = min((one for one in known[: len(begins)] if one > at_us), default=ended_us)
        hold_us = min((one for one in known[len(begins) :] if at_us < one <= next_us), default=None)
        rest_us = next_us if hold_us is None else hold_us
        spans.append(Span(seconds(at_us), seconds(rest_us), held=hold_us is not None))
    return [Html(course_picture(seconds(ended_us), spans, gap)), paragraph(_DRAWN)]


def _proof(number: int, start: Kept) -> list[Html]:
    at_us = start.number("at_us")
    if at_us is None:
        return []
    joints = list(start.named("joints"))
    proved: dict[str, tuple[float, float] | None] = {}
    rows = []
    for name, one in joints:
        ends = one.number("earliest_us"), one.number("latest_us")
        early, late = (None if end is None else end - at_us for end in ends)
        proved[name] = None if early is None or late is None else (early, late)
        rows.append(
            (
                name,
                "not proved" if early is None else micros(early),
                "not proved" if late is None else micros(late),
                micros(one.number("start_margin_us")),
                micros(one.number("clock_uncertainty_us")),
                micros(one.number("worst_delay_us")),
            )
        )
    if not rows:
        return []
    heading = element("h3", text(f"Start {number}: when each joint began"))
    drawn = [Html(start_picture(proved))] if any(proved.values()) else []
    return [heading, *drawn, table(f"Joints at start {number}", _OF_JOINT, rows, kind="figures")]
