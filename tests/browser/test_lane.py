"""What a lane and its details say of a joint: each figure, and what is not to be believed."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import Feed, Open, stay_new


def shown(open_page: Open, files: str, **values: Any) -> Page:
    """The page with one joint of these values."""
    first = canned.whole(1)
    first["state"]["joints"] = [canned.joint(0, **values)]

    def before(page: Page) -> None:
        Feed(first).attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    page.locator(".lane").wait_for()
    return page


@pytest.mark.parametrize(
    ("place", "says"),
    [
        (".name", "turntable A"),
        (".state", "moving"),
        (".angle", "31.42°"),
        (".ends", "−170°170°"),
        (".warmth", "36\u00a0°C"),
        (".health .small", "23.8\u00a0V"),
        (".health .small", "link 3\u00a0ms"),
        (".health .small", "fan 30\u00a0%"),
        (".health .small", "lost 1\u00a0%"),
        (".health .small", "clock ±0.6\u00a0ms"),
        (".age", "0.04\u00a0s old"),
    ],
)
def test_a_lane_says_every_figure_with_its_unit(
    open_page: Open, files: str, place: str, says: str
) -> None:
    page = shown(open_page, files)
    expect(page.locator(f".lane {place}")).to_contain_text(says)


@pytest.mark.parametrize(
    ("values", "says", "level"),
    [
        ({"temperature_c": 52.0, "warm": True}, "warm 52\u00a0°C", "attention"),
        ({"temperature_c": 59.0, "warm": True}, "hot 59\u00a0°C", "danger"),
    ],
    ids=["warm", "hot"],
)
def test_a_warm_joint_is_told_by_word_shape_and_colour(
    open_page: Open, files: str, values: dict[str, Any], says: str, level: str
) -> None:
    page = shown(open_page, files, **values)
    warmth = page.locator(f".lane.{level} .warmth.{level}")
    expect(warmth).to_contain_text(says)
    expect(warmth.locator(".shape")).to_have_count(1)


@pytest.mark.parametrize("celsius", [-50.0, 130.0], ids=["open", "shorted"])
def test_a_sensor_that_is_not_believed_shows_no_temperature_and_is_never_hot(
    open_page: Open, files: str, celsius: float
) -> None:
    page = shown(open_page, files, temperature_c=celsius, plausible=False)
    warmth = page.locator(".lane.attention .warmth.attention")
    expect(warmth).to_contain_text("sensor not believed –")
    expect(warmth.locator("svg.shape")).to_have_count(1)
    expect(warmth.locator(".filled")).to_have_count(0)
    assert "hot" not in page.locator(".lane").inner_text()
    page.locator(".lane .name").click()
    expect(page.locator(".details")).to_contain_text("(not believed)")


def test_no_point_of_a_sensor_that_is_not_believed_is_drawn(open_page: Open, files: str) -> None:
    first = canned.whole(1)
    first["history"]["temperature"] = {}
    feed = Feed(first)
    page = open_page(files, before=feed.attach)
    trace = page.locator(".heat .trace")
    expect(trace).to_have_attribute("points", "")
    heard = {"temperature_c": -50.0, "plausible": False, "heard_at_us": canned.NOW_US + 1}
    feed.say(canned.change(2, joints={"turntable": heard}))
    expect(page.locator(".warmth")).to_contain_text("not believed")
    expect(trace).to_have_attribute("points", "")
    believed = {"temperature_c": 31.0, "plausible": True, "heard_at_us": canned.NOW_US + 6_000_000}
    feed.say(canned.change(3, at_us=canned.NOW_US + 6_000_000, joints={"turntable": believed}))
    expect(trace).not_to_have_attribute("points", "")


def row(page: Page, name: str) -> Any:
    """A row of the details."""
    return page.locator(".details dl div", has=page.locator(f"dt:text-is('{name}')")).locator("dd")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("id", "3c71bf4a0000"),
        ("firmware", "0.1.0"),
        ("boot", "0000002a"),
        ("round trip, half and 99 % within", "3.1\u00a0ms, 9.4\u00a0ms"),
        ("clock known to within", "620\u00a0µs"),
        ("clock rate", "−12.3\u00a0ppm"),
        ("exchanges lost", "2 of the last 200"),
        ("connections made", "3"),
        ("restarts seen", "1"),
        ("touch control, pressed", "4"),
        ("touch control, turned by", "−6"),
    ],
)
def test_details_give_identity_clock_and_counters(
    open_page: Open, files: str, name: str, value: str
) -> None:
    page = shown(open_page, files)
    page.locator(".lane .name").click()
    expect(row(page, name)).to_have_text(value)


def test_details_give_the_edges_of_the_last_homing_and_what_happened_last(
    open_page: Open, files: str
) -> None:
    first = canned.whole(2)
    mine = [canned.note(canned.NOW_US - k, f"turntable said {k}") for k in range(6)]
    for note in mine:
        note["joint"] = "turntable"
    other = {**canned.note(canned.NOW_US, "shoulder said something"), "joint": "shoulder"}
    first["state"]["notes"] = [*reversed(mine), other]
    page = open_page(files, before=Feed(first).attach)
    page.locator(".lane .name").first.click()
    edges = page.locator(".details .edges li")
    expect(edges).to_have_text(
        ["−1.94°, comes on, fast", "1.94°, goes off, fast", "−1.88°, comes on, slow",
         "1.88°, goes off, slow"]
    )  # fmt: skip
    expect(page.locator(".details")).to_contain_text("Homing 2 moved its scale by 0.35°")
    happened = page.locator(".details .happened li")
    expect(happened).to_have_count(5)
    expect(happened.first).to_contain_text("turntable said 0.")
    expect(page.locator(".details .happened")).not_to_contain_text("shoulder")


@pytest.mark.parametrize(
    ("start", "says"),
    [
        (
            {"lead_us": 90_000, "within_us": 1_300, "slowest": "A", "obstacle": None},
            "A start now: 90\u00a0ms ahead, all within 1.3\u00a0ms of each other; slowest link: A.",
        ),
        (
            {"lead_us": None, "within_us": None, "slowest": None, "obstacle": None},
            "A start now: links and clocks are still being measured.",
        ),
        (
            {
                "lead_us": None, "within_us": None, "slowest": None,
                "obstacle": {"code": "not-homed", "message": "elbow is not homed; home it first"},
            },
            "No start now: elbow is not homed; home it first.",
        ),
    ],
    ids=["possible", "measuring", "refused"],
)  # fmt: skip
def test_at_rest_the_page_says_whether_the_next_start_would_be_together(
    open_page: Open, files: str, start: dict[str, Any], says: str
) -> None:
    first = canned.whole(phase="idle", run=None, ahead=None, next_start=start)
    page = open_page(files, before=Feed(first).attach)
    expect(page.locator(".runbar .start")).to_have_text(says)
