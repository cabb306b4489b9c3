"""Joint by joint: heat, link and what it ran."""

from typing import Final

from coordinator.run_record.kept import Kept, micros, since
from coordinator.run_record.markup import Html, paragraph, section, table

_HEADINGS: Final = (
    "joint", "hottest", "worst link delay at a start", "buffer margin", "clock uncertainty",
    "last point of a part reached", "firmware",
)  # fmt: skip
_MEANS: Final = (
    "Hottest: the highest temperature that the joint told while the run went on and that could be "
    "believed. Worst link delay: how long its link needed to get a repeated state across and back, "
    "the greatest at any start. Buffer margin: how much longer its points would have lasted than "
    "the slowest delivery took. How many datagrams were lost between starts is not kept."
)


def joints_part(report: Kept) -> Html:
    """A row for each joint, base to tool."""
    joints = report.objects("joints")
    if not joints:
        return section("Heat and links", paragraph("No joint is recorded."))
    delays: dict[str, list[float]] = {}
    for start in report.objects("starts"):
        for name, one in start.named("joints"):
            delay_us = one.number("worst_delay_us")
            delays.setdefault(name, []).extend([] if delay_us is None else [delay_us])
    rows = [_row(report, one, delays.get(one.text("name") or "", [])) for one in joints]
    return section(
        "Heat and links",
        table("Joint by joint", _HEADINGS, rows, kind="figures"),
        paragraph(_MEANS),
    )


def _row(report: Kept, joint: Kept, delays_us: list[float]) -> tuple[object, ...]:
    hottest = joint.number("hottest_c")
    return (
        joint.text("name") or "?",
        None if hottest is None else f"{hottest:.1f} °C",
        micros(max(delays_us, default=None)),
        micros(joint.number("buffer_margin_us")),
        micros(joint.number("clock_uncertainty_us")),
        since(report, joint.number("finished_at_us")),
        joint.text("firmware"),
    )
