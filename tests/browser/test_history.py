"""History: charts over hours or years, zoomed by drag, buttons and keys."""

import math
import re
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well

HOUR_S = 3_600
DAY_S = 24 * HOUR_S
NOW_S = 1_780_000_000
CHARTS = 12


FIGURES = ("rising_deviation_deg", "falling_deviation_deg", "hysteresis_deg", "drift_deg_per_c")
NO_FIGURE = {"value": None, "uncertainty": None, "homings": 2, "why": "it takes 5 in a row"}


class Past:
    """Answers a page's questions about joints; knows nothing where it is told so."""

    def __init__(self, *, empty: bool = False) -> None:
        self.empty = empty
        self.asked: list[tuple[str, int, int, int]] = []
        """Joint, from, to and how many stretches at most."""
        self.wear_asked: list[str] = []
        """Of which joints it was asked what they did in all."""
        self.tells_wear = True
        self.homings: list[dict[str, Any]] = []
        self.figures: dict[str, Any] = dict.fromkeys(FIGURES, NO_FIGURE)

    def attach(self, page: Page) -> None:
        rests = canned.condition("at rest")
        Feed(canned.whole(phase="idle", run=None, condition=rests)).attach(page)
        stay_new(page)
        page.add_init_script(f"Date.now = () => {NOW_S * 1000}")
        page.route("**/api/v1/joints/*/history?*", self._history)
        page.route("**/api/v1/joints/*/wear", self._wear)
        page.route("**/api/v1/joints/*/homings", self._homings)

    @property
    def last(self) -> tuple[str, int, int, int]:
        return self.asked[-1]

    def _history(self, route: Route) -> None:
        where = urlsplit(route.request.url)
        query = parse_qs(where.query)
        joint = where.path.split("/")[-2]
        begin, end = (_unix_s(query[one][0]) for one in ("from", "to"))
        points = int(query["points"][0])
        self.asked.append((joint, begin, end, points))
        route.fulfill(json=history(joint, begin, end, 0 if self.empty else points))

    def _homings(self, route: Route) -> None:
        joint = urlsplit(route.request.url).path.split("/")[-2]
        told = {"joint": joint, "shift_limit_deg": 0.045, "homings": self.homings}
        route.fulfill(json={**told, "wandered_deg": None, **self.figures})

    def _wear(self, route: Route) -> None:
        joint = urlsplit(route.request.url).path.split("/")[-2]
        self.wear_asked.append(joint)
        if not self.tells_wear:
            return
        known = {
            "joint": joint, "since_utc": None if self.empty else "2026-01-12T08:00:00+00:00",
            "on_s": 1_204_330.2, "moving_s": 411_020.4, "starts": 71_204, "reversals": 60_118,
            "distance_deg": 2_750_610.5, "hop": None,
        }  # fmt: skip
        route.fulfill(json=known)


def _unix_s(utc: str) -> int:
    return int(datetime.fromisoformat(utc).timestamp())


def history(joint: str, begin: int, end: int, points: int) -> dict[str, Any]:
    """With a stretch in which nothing is known, a third from its beginning."""
    stretch_s = max(1, (end - begin) // max(points, 1))
    starts = [begin + k * stretch_s for k in range(points) if not points // 3 < k < points // 2]
    wave = [math.sin(12 * k / max(len(starts), 1)) for k in range(len(starts))]

    def readings(middle: float, reach: float) -> dict[str, Any]:
        mean = [middle + reach * one for one in wave]
        least, greatest = ([one + by * reach for one in mean] for by in (-0.4, 0.6))
        return {"min": least, "mean": mean, "max": greatest, "count": [stretch_s] * len(starts)}

    return {
        "joint": joint, "from_utc": "", "to_utc": "", "stretch_s": stretch_s, "start_s": starts,
        "temperature_c": readings(40, 9), "supply_v": readings(23.8, 0.3),
        "rtt_p99_us": readings(9_000, 2_000), "loss": readings(0.02, 0.01),
        "clock_uncertainty_us": {
            "min": [None] * len(starts), "mean": [None] * len(starts), "max": [None] * len(starts),
            "count": [0] * len(starts),
        },
        "hop_ohm": {
            "min": [0.06] * len(starts), "mean": [0.0625] * len(starts),
            "max": [0.07] * len(starts), "count": [2] * len(starts),
        },
        "position_error_deg": readings(0.0, 0.0004),
        "on_s": [stretch_s] * len(starts), "moving_s": [0.4 * stretch_s] * len(starts),
        "starts": [3] * len(starts), "reversals": [2] * len(starts),
        "distance_deg": [720.5] * len(starts), "temperature_warning_c": 50.0,
        "temperature_limit_c": 58.0, "supply_warning_v": 20.0, "supply_limit_v": 18.0,
    }  # fmt: skip


@pytest.fixture(name="past")
def what_was() -> Past:
    return Past()


def opened(
    open_page: Open, files: str, past: Past, size: dict[str, int] = DESKTOP, *, axe: bool = False
) -> Page:
    page = open_page(f"{files}/#history", size=size, bypass_csp=axe, before=past.attach)
    expect(page.get_by_role("heading", name="In all, by the hour, since")).to_be_visible()
    return page


def charts(page: Page) -> Locator:
    return page.get_by_role("group", name="Charts")


def until_asked(page: Page, past: Past, span: tuple[int, int], joint: str = "turntable") -> None:
    """Wait until the page shows what it asked for last, and see that it was this."""
    shown = page.get_by_role("status").filter(has_text=f"{joint} from")
    words = page.evaluate(
        """async (at) => {
            const { dateTime } = await import('/app/report.js');
            return at.map((s) => dateTime(s * 1000));
        }""",
        list(span),
    )
    expect(shown).to_have_text(f"{joint} from {words[0]} to {words[1]}")
    assert past.last[:3] == (joint, *span)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_a_chart_for_each_quantity_that_everybody_can_read(
    open_page: Open, files: str, past: Past, size: dict[str, int]
) -> None:
    page = opened(open_page, files, past, size, axe=True)
    expect(page.locator(".history figure .uplot")).to_have_count(CHARTS)
    page.screenshot(path=SHOTS / f"history-{size['width']}.png", full_page=True)
    looks_well(page)
    joint, begin, end, points = past.last
    assert (joint, end - begin) == ("turntable", HOUR_S)
    assert 60 <= points <= 600


def test_what_a_chart_shows_stands_in_words_and_what_is_unknown_is_never_a_zero(
    open_page: Open, files: str, past: Past
) -> None:
    page = opened(open_page, files, past)
    captions = page.locator(".history figcaption")
    expect(captions.filter(has_text="Temperature")).to_contain_text(
        "dashed, its warning and limit at 50.0\u00a0°C and 58.0\u00a0°C"
    )
    expect(captions.filter(has_text="Clock uncertainty")).to_contain_text("nothing is known")
    expect(captions.filter(has_text="Turning")).to_contain_text("40.0\u00a0% to 40.0\u00a0%")
    expect(captions.filter(has_text="Supply")).to_contain_text("V; dashed")
    facts = page.locator(".history .facts")
    expect(facts).to_contain_text("heard for 334.5\u00a0h")
    expect(facts).to_contain_text("71204 starts, 60118 reversals")


def test_a_joint_and_a_time_are_chosen_and_the_table_is_of_both(
    open_page: Open, files: str, past: Past
) -> None:
    page = opened(open_page, files, past)
    page.get_by_label("Joint").select_option("elbow")
    page.get_by_role("button", name="last year").click()
    until_asked(page, past, (NOW_S - 365 * DAY_S, NOW_S), "elbow")
    expect(page.get_by_role("button", name="last year")).to_have_attribute("aria-pressed", "true")
    link = page.get_by_role("link", name="The history of elbow in that time")
    where = urlsplit(link.get_attribute("href") or "")
    assert where.path == "/api/v1/joints/elbow/history"
    assert parse_qs(where.query)["format"] == ["csv"]
    assert parse_qs(where.query)["from"] == ["2025-05-28T20:26:40.000Z"]


def test_what_a_joint_did_in_all_is_asked_once_and_no_chart_waits_for_it(
    open_page: Open, files: str, past: Past
) -> None:
    page = opened(open_page, files, past)
    page.get_by_role("button", name="Zoom out").click()
    until_asked(page, past, (NOW_S - 2 * HOUR_S, NOW_S))
    assert past.wear_asked == ["turntable"]
    past.tells_wear = False
    page.get_by_label("Joint").select_option("elbow")
    until_asked(page, past, (NOW_S - 2 * HOUR_S, NOW_S), "elbow")
    expect(page.locator(".history figure .uplot")).to_have_count(CHARTS)
    # What the joint before it did is not shown as this one's.
    expect(page.get_by_role("heading", name="In all, by the hour, since")).to_have_count(0)
    assert past.wear_asked == ["turntable", "elbow"]


@pytest.mark.parametrize("by", ["buttons", "keys"])
def test_time_is_zoomed_and_moved_by_buttons_and_by_keys(
    open_page: Open, files: str, past: Past, by: str
) -> None:
    page = opened(open_page, files, past)

    def step(name: str, key: str) -> None:
        if by == "buttons":
            page.get_by_role("button", name=name).press("Enter")
        else:
            charts(page).press(key)

    step("Zoom out", "-")
    until_asked(page, past, (NOW_S - 2 * HOUR_S, NOW_S))
    step("Earlier", "ArrowLeft")
    until_asked(page, past, (NOW_S - 3 * HOUR_S, NOW_S - HOUR_S))
    step("Zoom in", "+")
    until_asked(page, past, (NOW_S - 2 * HOUR_S - HOUR_S // 2, NOW_S - HOUR_S - HOUR_S // 2))
    step("Later", "ArrowRight")
    until_asked(page, past, (NOW_S - 2 * HOUR_S, NOW_S - HOUR_S))
    step("Later", "ArrowRight")
    step("Later", "ArrowRight")
    until_asked(page, past, (NOW_S - HOUR_S, NOW_S))  # no later than now
    expect(page.get_by_role("button", name="Later")).to_have_attribute("aria-disabled", "true")


def test_a_drag_over_a_chart_zooms_to_that_time_and_a_press_does_not(
    open_page: Open, files: str, past: Past
) -> None:
    page = opened(open_page, files, past)
    over = page.locator(".history .u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    over.click(position={"x": 50, "y": 40})
    shown = page.get_by_role("status").filter(has_text="turntable from")
    before = shown.inner_text()
    page.mouse.move(box["x"] + box["width"] / 4, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 40, steps=4)
    page.mouse.up()
    expect(page.get_by_role("button", name="last hour")).to_have_attribute("aria-pressed", "false")
    expect(shown).not_to_have_text(before)
    _, begin, end, _ = past.last
    assert abs(begin - (NOW_S - HOUR_S * 3 / 4)) <= 30
    assert abs(end - (NOW_S - HOUR_S / 2)) <= 30


def test_what_ends_now_moves_on_and_wipes_nothing_that_is_said(
    open_page: Open, files: str, past: Past
) -> None:
    def before(page: Page) -> None:
        past.attach(page)
        # Its own look is due at once, and once only.
        page.add_init_script(
            "const every = window.setInterval; window.setInterval = (work, ms) => {"
            " if (ms !== 15000) return every(work, ms);"
            " window.look_again = work; return 0; };"
        )
        page.route("**/api/v1/stop", lambda route: route.fulfill(json={"phase": "idle"}))

    page = open_page(f"{files}/#history", before=before)
    expect(page.get_by_role("heading", name="In all, by the hour, since")).to_be_visible()
    page.get_by_role("button", name="Stop", exact=True).click()
    said = page.locator(".said p")
    expect(said).to_have_count(1)
    page.evaluate(f"() => {{ Date.now = () => {(NOW_S + 60) * 1000}; window.look_again(); }}")
    until_asked(page, past, (NOW_S + 60 - HOUR_S, NOW_S + 60))
    expect(said).to_have_count(1)


def test_no_time_is_asked_for_that_there_is_not(open_page: Open, files: str, past: Past) -> None:
    page = opened(open_page, files, past)
    said = page.evaluate(
        """async () => {
            const { between, zoomed, last } = await import('/app/span.js');
            let [wide, close] = [last(3600, 1780000000), last(3600, 1780000000)];
            for (let k = 0; k < 30; k++) [wide, close] = [zoomed(wide, 2), zoomed(close, 0.5)];
            return [wide.to - wide.from, close.to - close.from, between(-50, -40).from];
        }"""
    )
    assert said == [40 * 365 * DAY_S, 60, 0]


def test_where_nothing_is_known_it_says_so(open_page: Open, files: str) -> None:
    past = Past(empty=True)
    page = open_page(f"{files}/#history", before=past.attach)
    expect(page.get_by_text("Nothing is known of turntable in that time.")).to_be_visible()
    expect(page.get_by_text("Nothing is recorded of")).to_be_visible()
    expect(page.locator(".history figure")).to_have_count(0)


def test_where_homings_found_home_is_a_chart_of_points_with_its_limit(
    open_page: Open, files: str, past: Past
) -> None:
    past.homings = [
        {
            "utc": datetime.fromtimestamp(NOW_S - ago_s, UTC).isoformat(),
            "since_reference_deg": since_deg,
        }
        for ago_s, since_deg in ((9 * DAY_S, 0.5), (1_800, 0.0), (1_200, 0.021), (600, -0.013))
    ]
    page = opened(open_page, files, past)
    chart = page.locator("figure", has_text="Home, from where its reference found it")
    # The one of nine days ago is not of this hour.
    expect(chart.locator("figcaption")).to_contain_text("−0.013° to 0.021°")
    expect(chart.locator("figcaption")).to_contain_text("its limit at −0.045° and 0.045°")
    expect(chart.locator("canvas")).to_have_count(1)
    page.screenshot(path=SHOTS / "history-homings.png", full_page=True)
    past.homings = []
    page.get_by_label("Joint").select_option("wrist")
    expect(chart).to_have_count(0)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_how_well_a_joint_finds_its_home_is_told_with_uncertainty_or_why_not(
    open_page: Open, files: str, past: Past, size: dict[str, int]
) -> None:
    past.homings = [
        {
            "homing": k, "utc": datetime.fromtimestamp(NOW_S - 60 * k, UTC).isoformat(),
            "since_reference_deg": 0.002 * k, "temperature_c": 20.0 + 3 * k,
            "level_deg": 0.002 * (k - 3),
        }
        for k in range(1, 6)
    ]  # fmt: skip
    drift = {"value": 0.00067, "uncertainty": 0.00012, "homings": 5, "why": ""}
    past.figures |= {"drift_deg_per_c": drift}
    page = opened(open_page, files, past, size=size, axe=True)
    told = page.locator(".history")
    expect(told).to_contain_text("rising edge, standard deviation: not told: it takes 5 in a row")
    expect(told).to_contain_text(
        "drift of home: 0.00067 °/°C, standard uncertainty 0.00012 °/°C from 5 homings"
    )
    chart = page.locator("figure", has_text="Home over temperature")
    expect(chart.locator("figcaption")).to_contain_text(re.compile("5 homings, 23.0.°C to 35.0.°C"))
    expect(chart.locator("figcaption")).to_contain_text("dashed, the drift")
    expect(chart.locator("canvas")).to_have_count(1)
    looks_well(page)
    page.screenshot(path=SHOTS / f"history-home-{size['width']}.png", full_page=True)


def test_of_a_joint_that_was_never_homed_that_is_said(
    open_page: Open, files: str, past: Past
) -> None:
    page = opened(open_page, files, past)
    expect(page.locator(".history")).to_contain_text("No homing of turntable is known.")
