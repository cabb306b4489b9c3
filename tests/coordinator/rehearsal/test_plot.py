"""The picture of rehearsals: XML that a browser reads, with every figure in words and units."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.pictures.svg import ATTENTION, DANGER, Drawing, step_for
from coordinator.rehearsal.plot import WIDTH, plot
from coordinator.rehearsal.summary import Summary, quantiles, share, summarise

SVG = "{http://www.w3.org/2000/svg}"
SPREADS = [20.0, 35.0, 60.0, 62.0, 118.0]
PEAKS = (
    JointPeaks("base", Peak(54.76, 60.0, 8), Peak(96.0, 120.0, 11)),
    JointPeaks("tip", Peak(0.0, 90.0, 0), Peak(0.0, 180.0, 0)),
)


def summary(start_margins_us: tuple[int, ...] = (300_000, 460_000)) -> Summary:
    margin = quantiles(start_margins_us)
    assert margin is not None
    return replace(
        summarise([]),
        rehearsals=5,
        start_skew_us=quantiles(SPREADS),
        start_margin_us={"base": margin},
        not_at_once=share(0, 5),
        retried=share(0, 5),
        partial=share(0, 5),
        refused=share(0, 5),
    )


def texts(picture: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(picture).iter(f"{SVG}text")]


def test_all_figures_stand_there_in_words_with_their_units() -> None:
    found = texts(plot("tray.nc on bench arm", summary(), PEAKS, SPREADS))
    for expected in (
        "tray.nc on bench arm",
        "5 of 5 at the first attempt",
        "p50 60 µs",
        "p99 118 µs",
        "300 ms",
        "54.8 of 60 °/s, line 8",
        "96.0 of 120 °/s², line 11",
        "0.0 of 90 °/s",
    ):
        assert expected in found


def test_nothing_has_a_colour_where_all_is_as_it_should_be() -> None:
    picture = plot("t", summary(), PEAKS, SPREADS)
    assert ATTENTION not in picture
    assert DANGER not in picture
    assert "▲" not in picture


def test_what_is_abnormal_has_a_sign_and_a_colour() -> None:
    bad = replace(
        summary(start_margins_us=(5_000, 460_000)),
        partial=share(2, 5),
        refused=share(1, 5),
        holds=3,
    )
    over = replace(PEAKS[0], velocity=Peak(60.5, 60.0, 8))
    picture = plot("t", bad, [over], SPREADS)
    found = texts(picture)
    for expected in (
        "▲ 2 partial: some joints began alone",
        "▲ 1 refused",
        "▲ 3 in 5 rehearsals",
        "▲ 5 ms",
        "▲ 60.5 of 60 °/s, line 8, over the limit",
    ):
        assert expected in found
    assert ATTENTION in picture
    assert DANGER in picture


def test_a_plan_at_its_limit_is_not_called_over_it_for_rounding() -> None:
    at_limit = replace(PEAKS[0], velocity=Peak(60.000007, 60.0, 8))
    assert DANGER not in plot("t", summary(), [at_limit], SPREADS)


def test_the_histogram_holds_every_start_once() -> None:
    root = ET.fromstring(plot("t", summary(), PEAKS, SPREADS))
    tips = [tip.text or "" for bar in root.iter(f"{SVG}rect") for tip in bar.iter(f"{SVG}title")]
    assert sum(int(tip.split(": ")[1].split()[0]) for tip in tips) == len(SPREADS)


def test_rehearsals_without_any_start_are_drawn_too() -> None:
    found = texts(plot("t", summarise([]), PEAKS, []))
    assert "no start of all joints was seen" in found


@given(st.text(max_size=100), st.text(min_size=1, max_size=40))
def test_any_title_and_name_give_well_formed_xml(title: str, name: str) -> None:
    ET.fromstring(plot(title, summary(), [replace(PEAKS[0], name=name)], SPREADS))


@given(st.lists(st.floats(0.0, 1e7), min_size=1, max_size=50))
def test_all_bars_lie_within_the_picture(start_skews_us: list[float]) -> None:
    seen = replace(summary(), start_skew_us=quantiles(start_skews_us))
    for bar in ET.fromstring(plot("t", seen, PEAKS, start_skews_us)).iter(f"{SVG}rect"):
        x, width = float(bar.get("x", "0")), float(bar.get("width", "0"))
        assert 0.0 <= x <= x + width <= WIDTH


@pytest.mark.parametrize(
    ("span", "step"),
    [(1_200.0, 200.0), (250.0, 50.0), (0.6, 0.1), (7.0, 2.0), (0.0, 1.0), (5e-324, 1.0)],
)
def test_ticks_are_at_round_distances(span: float, step: float) -> None:
    assert step_for(span) == pytest.approx(step)


@given(st.floats(1e-6, 1e12))
def test_ticks_are_never_more_than_asked_for(span: float) -> None:
    assert span / step_for(span, 6) <= 6 * (1 + 1e-6)
    assert span / step_for(span, 6) > 6 / 2.5 * (1 - 1e-6)


def test_a_drawing_escapes_what_xml_reserves() -> None:
    drawing = Drawing(100, 'a < b & "c"')
    drawing.text(1, 2, "<&>\x07")
    root = ET.fromstring(drawing.finish(50))
    assert [element.text for element in root.iter(f"{SVG}text")] == ["<&> "]
    assert root.get("viewBox") == "0 0 100 50"
