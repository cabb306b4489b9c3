"""What rehearsals showed in one picture: starts, start margins, speeds. Grey where all is well."""

import math
from collections.abc import Sequence
from typing import Final

from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.pictures.svg import (
    ATTENTION,
    BAR,
    DANGER,
    FAINT,
    INK,
    MUTED,
    Drawing,
    short,
    step_for,
)
from coordinator.rehearsal.summary import Quantiles, Summary
from coordinator.timing.start_delay import CONFIRM_MIN_US
from protocol.constants import ACCELERATION_SHARE

WIDTH: Final = 700.0
LEFT: Final = 110.0
RIGHT: Final = 630.0
MIDDLE: Final = 420.0
LABEL: Final = 90.0
"""Room for a label beside a line of the histogram."""
LONGEST_NAME: Final = 13
LONGEST_TITLE: Final = 66
ROW: Final = 24.0
BINS: Final = 30
HISTOGRAM: Final = 110.0
"""Height of its tallest bar."""
LIMIT_ALLOWANCE: Final = 1.0005
"""What rounding may add to a plan at its limit (design section 6, I5)."""


def plot(
    title: str, summary: Summary, peaks: Sequence[JointPeaks], start_skews_us: Sequence[float]
) -> str:
    """An SVG file's text; `start_skews_us` are the true start skews of all starts."""
    drawing = Drawing(WIDTH, title)
    drawing.text(16, 30, short(title, LONGEST_TITLE), size=16, bold=True)
    y = _starts(drawing, 54, summary)
    y = _histogram(drawing, y + 34, start_skews_us, summary.start_skew_us)
    y = _start_margins(drawing, y + 44, summary.start_margin_us)
    y = _peaks(drawing, y + 44, "Highest speed, against the limit", "°/s", peaks, False)
    y = _peaks(drawing, y + 34, "Highest acceleration, against the limit", "°/s²", peaks, True)
    return drawing.finish(y + 20)


def _starts(drawing: Drawing, y: float, summary: Summary) -> float:
    """How starts went and how often the arm held, in words; what is abnormal has a sign too."""
    drawing.text(16, y, "Starts", bold=True)
    asked = summary.not_at_once.of
    drawing.text(LEFT, y, f"{asked - summary.not_at_once.count} of {asked} at the first attempt")
    for x, row, words, found, colour in (
        (MIDDLE, 0, "at a later one", summary.retried, ATTENTION),
        (LEFT, 1, "partial: some joints began alone", summary.partial, ATTENTION),
        (MIDDLE, 1, "refused", summary.refused, DANGER),
    ):
        odd = found.count > 0
        said = f"{'▲ ' if odd else ''}{found.count} {words}"
        drawing.text(x, y + row * ROW, said, colour if odd else INK, bold=odd)
    y += ROW
    drawing.text(16, y + ROW, "Holds", bold=True)
    said = f"{summary.holds} in {summary.rehearsals} rehearsals"
    if summary.holds_per_minute is not None:
        said += f", {summary.holds_per_minute:.2f} a minute of playing"
    odd = summary.holds > 0
    drawing.text(LEFT, y + ROW, f"▲ {said}" if odd else said, ATTENTION if odd else INK, bold=odd)
    return y + ROW


def _histogram(
    drawing: Drawing, y: float, values: Sequence[float], found: Quantiles | None
) -> float:
    drawing.text(16, y, "Start skew: from the first joint's start to the last one's", bold=True)
    if found is None:
        drawing.text(LEFT, y + ROW, "no start of all joints was seen", MUTED)
        return y + ROW
    step = step_for(found.most)
    end = step * max(1, math.ceil(found.most / step))
    # A value on the end belongs to the last bin.
    bins = [0] * BINS
    for value in values:
        bins[min(BINS - 1, int(value / end * BINS))] += 1
    width, base = (RIGHT - LEFT) / BINS, y + 46 + HISTOGRAM
    for k, count in enumerate(bins):
        if count:
            height = HISTOGRAM * count / max(bins)
            tip = f"{k * end / BINS:.0f} to {(k + 1) * end / BINS:.0f} µs: {count} starts"
            x = LEFT + k * width
            drawing.rectangle(x + 0.5, base - height, width - 1, height, tip=tip)
    drawing.text(
        LEFT - 8, base - HISTOGRAM + 9, f"{max(bins)} starts", MUTED, anchor="end", size=12
    )
    _axis(drawing, base, 0.0, end, step, "µs")
    for words, value, top in (("p99", found.p99, y + 16), ("p50", found.p50, y + 31)):
        x = LEFT + (RIGHT - LEFT) * value / end
        drawing.line(x, top, x, base, INK, dashed=True)
        aside, anchor = (4, "start") if x < RIGHT - LABEL else (-4, "end")
        drawing.text(x + aside, top + 9, f"{words} {value:.0f} µs", size=12, anchor=anchor)
    return base + 18


def _start_margins(drawing: Drawing, y: float, margins: dict[str, Quantiles]) -> float:
    drawing.text(
        16, y, "Start margin: how long before a start a joint had all it needed", bold=True
    )
    if not margins:
        drawing.text(LEFT, y + ROW, "no start was seen", MUTED)
        return y + ROW
    drawing.text(
        WIDTH - 8, y, "bar: least to most, mark: p50, figure: least", MUTED, anchor="end", size=12
    )
    most = max(found.most for found in margins.values())
    step = step_for(most / 1e3)
    end = step * max(1, math.ceil(most / 1e3 / step))
    y += 14
    for name, found in margins.items():
        least, middle, last = (
            LEFT + (RIGHT - LEFT) * value / 1e3 / end
            for value in (found.least, found.p50, found.most)
        )
        is_short = found.least < CONFIRM_MIN_US
        drawing.text(LEFT - 8, y + 13, short(name, LONGEST_NAME), anchor="end")
        drawing.rectangle(LEFT, y + 8, RIGHT - LEFT, 1, FAINT)
        drawing.rectangle(least, y + 3, max(last - least, 1.0), 11, ATTENTION if is_short else BAR)
        drawing.rectangle(middle - 1, y, 2, 17, INK)
        said = f"{'▲ ' if is_short else ''}{found.least / 1e3:.0f} ms"
        drawing.text(RIGHT + 8, y + 13, said, ATTENTION if is_short else MUTED, size=12)
        y += ROW
    _axis(drawing, y, 0.0, end, step, "ms")
    return y + 18


def _peaks(
    drawing: Drawing,
    y: float,
    heading: str,
    unit: str,
    peaks: Sequence[JointPeaks],
    is_acceleration: bool,
) -> float:
    drawing.text(16, y, heading, bold=True)
    full = 300.0
    if is_acceleration:
        share = LEFT + full * ACCELERATION_SHARE
        drawing.line(share, y + 10, share, y + 14 + ROW * len(peaks), dashed=True)
        note = f"dashed: {ACCELERATION_SHARE * 100:.0f} %, the most that a plan uses"
        drawing.text(WIDTH - 8, y, note, MUTED, anchor="end", size=12)
    y += 14
    for joint in peaks:
        peak: Peak = joint.acceleration if is_acceleration else joint.velocity
        over = peak.value > LIMIT_ALLOWANCE * peak.limit
        drawing.text(LEFT - 8, y + 13, short(joint.name, LONGEST_NAME), anchor="end")
        drawing.rectangle(LEFT, y + 3, full, 11, FAINT)
        width = full * min(1.0, peak.value / peak.limit)
        drawing.rectangle(LEFT, y + 3, width, 11, DANGER if over else BAR)
        drawing.line(LEFT + full, y, LEFT + full, y + 17, INK)
        said = f"{peak.value:.1f} of {peak.limit:g} {unit}"
        said += f", line {peak.line}" if peak.line else ""
        said = f"▲ {said}, over the limit" if over else said
        drawing.text(LEFT + full + 10, y + 13, said, DANGER if over else INK, bold=over)
        y += ROW
    return y


def _axis(drawing: Drawing, y: float, low: float, high: float, step: float, unit: str) -> None:
    drawing.line(LEFT, y, RIGHT, y)
    count = round((high - low) / step)
    for k in range(count + 1):
        x = LEFT + (RIGHT - LEFT) * k / count
        drawing.line(x, y, x, y + 4)
        said = f"{low + k * step:g}" + (f" {unit}" if k == count else "")
        drawing.text(x, y + 17, said, MUTED, anchor="middle", size=12)
