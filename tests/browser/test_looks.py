"""How the page looks and can be reached with an arm that is made up, at both sizes.

Pictures are left in build/browser.
"""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.alarms import alarm
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well

SIZES = pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])


def idle() -> dict[str, Any]:
    """An arm that rests, and of which much is unknown."""
    first = canned.whole(
        phase="idle",
        run=None,
        notes=[],
        condition=canned.condition("not known", "forearm is offline"),
    )
    for joint in first["state"]["joints"]:
        joint |= {"state": "ready", "permit_us": None, "path_us": None, "buffered_us": None}
    first["state"]["joints"][1] |= {"state": "unhomed", "homed": False, "position_deg": None}
    first["state"]["joints"][3] |= dict.fromkeys(
        ("heard_at_us", "temperature_c", "supply_v", "fan_percent", "loss", "rtt_p50_us")
    )
    first["state"]["joints"][3] |= {"link": "offline", "faults": None}
    return first


def troubled() -> dict[str, Any]:
    """An arm that plays, with a warm joint, one with a fault, and somebody else in control."""
    first = canned.whole()
    state = first["state"]
    state["joints"][2] |= {"temperature_c": 52.0, "warm": True}
    state["joints"][4] |= {
        "state": "faulted",
        "faults": ["over-temperature"],
        "temperature_c": 59.0,
    }
    state["warnings"] = [
        {
            "id": 1, "joint": "elbow", "code": "joint-warm", "level": "attention",
            "message": "elbow is warm: 52.0 °C, above its warning at 50 °C",
            "advice": "let it rest, and see that air gets to it",
            "since_us": canned.NOW_US - 4_000_000,
            "since_utc": "2026-01-01T00:00:00Z", "acknowledged": False,
        }
    ]  # fmt: skip
    state["warnings"] += [
        alarm(2, "supply-low", "supply", first_out=True),
        alarm(3, "link-lossy", "connection", state="shelved", priority="low"),
        alarm(4, "joint-hot", "heat", level="danger", priority="high", state="acknowledged"),
    ]
    shelf = {
        "id": 3, "joint": "wrist", "code": "link-lossy", "who": "a page", "stands": True,
        "until_us": canned.NOW_US + 3_600_000_000, "until_utc": "2026-01-01T01:00:00Z",
    }  # fmt: skip
    state["alarms"] = {
        "returned": [alarm(5, "supply-low", "supply", state="returned")],
        "shelved": [shelf],
        "flood": {"since_us": 0, "count": 12, "by_origin": {"supply": 11, "heat": 1}},
    }
    state["control"] = {"holder": "them", "name": "a page", "watchers": 3}
    return first


def _live(page: Page) -> None:
    expect(page.locator(".lane")).to_have_count(6)
    expect(page.get_by_text("This page does not hear the coordinator")).to_have_count(0)


STATES = pytest.mark.parametrize(
    ("name", "first"), [("idle", idle), ("troubled", troubled)], ids=["idle", "troubled"]
)


@SIZES
@STATES
def test_axe_finds_nothing_and_nothing_is_too_wide_or_too_small(
    open_page: Open,
    files: str,
    size: dict[str, int],
    name: str,
    first: Callable[[], dict[str, Any]],
) -> None:
    def before(page: Page) -> None:
        Feed(first()).attach(page)
        stay_new(page)

    page = open_page(files, size=size, bypass_csp=True, before=before)
    _live(page)
    page.locator(".lane .name").first.click()
    page.get_by_role("button", name="Motors off…").click()
    page.screenshot(path=SHOTS / f"{name}-{size['width']}.png", full_page=True)
    looks_well(page)


@SIZES
@pytest.mark.parametrize("view", ["play", "records"])
def test_axe_finds_nothing_on_the_other_pages(
    open_page: Open, files: str, size: dict[str, int], view: str
) -> None:
    def before(page: Page) -> None:
        Feed(canned.whole()).attach(page)
        runs = [{"run": 3, "name": "prick_out_tray.nc", "outcome": "finished", "began_utc": None}]
        page.route("**/api/v1/runs?*", lambda route: route.fulfill(json={"runs": runs}))

    page = open_page(f"{files}/#{view}", size=size, bypass_csp=True, before=before)
    page.locator(".card h2").first.wait_for()
    if view == "records":
        page.get_by_role("button", name="Run 3, prick_out_tray.nc").wait_for()
    page.screenshot(path=SHOTS / f"{view}-{size['width']}.png", full_page=True)
    looks_well(page)


def test_what_is_unknown_is_a_dash_and_never_a_zero(open_page: Open, files: str) -> None:
    page = open_page(files, before=Feed(idle()).attach)
    unhomed = page.locator(".lane", has_text="shoulder")
    expect(unhomed.locator(".angle")).to_have_text("–")
    expect(unhomed.locator(".state")).to_contain_text("not homed")
    absent = page.locator(".lane", has_text="forearm")
    expect(absent.locator(".state")).to_contain_text("offline")
    expect(absent.locator(".age")).to_have_text("never heard")
    expect(absent.locator(".warmth")).to_contain_text("–")
    assert "0\u00a0°C" not in absent.inner_text()


@pytest.mark.parametrize(
    ("first", "still", "drawn"),
    [(canned.whole, False, True), (canned.whole, True, False), (idle, False, False)],
    ids=["moving", "moving, but motion is not wanted", "idle"],
)
def test_the_strips_are_animated_only_while_something_moves_and_motion_is_wanted(
    open_page: Open, files: str, first: Callable[[], dict[str, Any]], still: bool, drawn: bool
) -> None:
    feed = Feed(first())

    def before(page: Page) -> None:
        page.emulate_media(reduced_motion="reduce" if still else "no-preference")
        page.add_init_script(
            """window.frames_asked = 0;
            const ask = window.requestAnimationFrame;
            window.requestAnimationFrame = (work) => {
                window.frames_asked += 1;
                return ask(work);
            };
            window.two_frames = () => new Promise((done) => ask(() => ask(done)));"""
        )
        feed.attach(page)

    page = open_page(files, before=before)
    _live(page)
    page.evaluate("() => window.two_frames()")  # Preact asks for some when a lane is new
    asked = page.evaluate("() => window.frames_asked")
    feed.say(canned.change(2, set={"arm": "told anew"}))
    expect(page.locator("h1")).to_have_text("told anew")
    page.evaluate("() => window.two_frames()")
    assert (page.evaluate("() => window.frames_asked") > asked) is drawn


def test_motors_go_off_only_in_a_second_step_that_says_what_may_fall(
    open_page: Open, files: str
) -> None:
    asked: list[Any] = []

    def before(page: Page) -> None:
        Feed(canned.whole()).attach(page)

        def answer(route: Any) -> None:
            asked.append(route.request.post_data_json)
            route.fulfill(json={"phase": "idle"})

        page.route("**/api/v1/stop", answer)

    page = open_page(files, before=before)
    release = page.get_by_role("button", name="Motors off at once")
    expect(release).to_have_count(0)
    page.get_by_role("button", name="Motors off…").click()
    expect(page.get_by_text("A raised arm may fall")).to_be_visible()
    release.click()
    expect(page.locator(".said")).to_contain_text("told to go off")
    assert asked == [{"level": "release"}]
