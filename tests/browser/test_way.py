"""Ways that are gone while a control is held: back to a run, and to `park` before motors go off."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well
from tests.browser.test_every_hand import REPORT

JOINT = canned.NAMES[0]
AT_REST: dict[str, Any] = {"run": None, "phase": "idle", "condition": canned.condition("at rest")}


def held_and_let_go(page: Page, feed: Feed, name: str) -> list[dict[str, Any]]:
    """What the page wishes while that control is pressed, and once it is let go."""
    control = page.get_by_role("button", name=name)
    control.hover()
    page.mouse.down()
    expect(control).to_have_class(re.compile("held"))
    page.mouse.up()
    expect(control).not_to_have_class(re.compile("held"))
    return [
        {key: value for key, value in one.items() if key not in ("number", "at_us")}
        for one in feed.wishes
    ]


def test_park_is_offered_before_motors_go_off_and_keeps_nobody_from_it(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole(**AT_REST))

    def before(page: Page) -> None:
        stay_new(page)
        feed.attach(page)

    page = open_page(files, before=before)
    page.get_by_role("button", name="Motors off…").click()
    panel = page.locator("#motors")
    expect(panel).to_contain_text("A raised arm may fall")
    expect(panel.get_by_role("button", name="Motors off at once")).to_be_enabled()
    expect(panel).to_contain_text("→ 0.0°")
    told = held_and_let_go(page, feed, "Hold to go to park")
    assert told[0] == {"type": "go", "pose": "park"}
    assert told[-1] == {"type": "jog", "velocities_deg_s": {}}


def test_while_a_program_is_played_the_panel_has_nothing_but_what_lets_motors_go(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    page.get_by_role("button", name="Motors off…").click()
    panel = page.locator("#motors")
    expect(panel.get_by_role("button", name="Motors off at once")).to_be_visible()
    expect(panel.get_by_role("button", name="Hold to go to park")).to_have_count(0)


def test_way_back_of_a_run_that_was_stopped_is_shown_first_and_gone_while_it_is_held(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole(**AT_REST))
    report = {**REPORT, "run": 3, "outcome": "stopped", "line": 7, "ended_at_us": 5_000_000}
    in_short = {"run": 3, "name": "tray.nc", "outcome": "stopped", "began_utc": None}
    joint = canned.NAMES[0]
    way = {"run": 3, "name": "tray.nc", "line": 7, "angles_deg": {joint: 12.5}}
    asked: list[str] = []

    def before(page: Page) -> None:
        stay_new(page)
        feed.attach(page)
        page.route("**/api/v1/runs?**", lambda route: route.fulfill(json={"runs": [in_short]}))
        page.route("**/api/v1/runs/3/report", lambda route: route.fulfill(json=report))

        def answer(route: Any) -> None:
            asked.append(route.request.url.rpartition("/")[2])
            route.fulfill(json=way)

        page.route("**/api/v1/runs/3/way**", answer)

    page = open_page(f"{files}/#records", before=before)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    expect(page.get_by_text("It was last in line 7")).to_be_visible()
    page.get_by_role("button", name="Show the way").click()
    expect(page.get_by_text(f"{joint} 31.4° → 12.5°")).to_be_visible()
    expect(page.get_by_text(f"{canned.NAMES[1]} stays")).to_be_visible()
    assert asked == ["way?from_line=7"]
    told = held_and_let_go(page, feed, "Hold to go to line 7 of run 3")
    assert told[0] == {"type": "go", "angles_deg": {joint: 12.5}}
    assert told[-1] == {"type": "jog", "velocities_deg_s": {}}


def ended(run: int, **values: Any) -> dict[str, Any]:
    """The report of a run that was stopped; its number is that of its line, too."""
    return {**REPORT, "run": run, "outcome": "stopped", "line": run, "name": "tray.nc", **values}


def way(run: int, line: int) -> dict[str, Any]:
    return {"run": run, "name": "tray.nc", "line": line, "angles_deg": {JOINT: float(run)}}


class Late:
    """Answers to some questions, given when a test says so."""

    def __init__(self) -> None:
        self.routes: list[Route] = []

    def hold(self, route: Route) -> None:
        self.routes.append(route)

    def answer(self, page: Page, body: dict[str, Any]) -> None:
        """And wait until the page has taken it in."""
        (route,) = self.routes
        with page.expect_response(route.request.url):
            route.fulfill(json=body)
        page.evaluate("() => fetch('/api/v1/session').then((one) => one.json())")


def records(
    open_page: Open, files: str, *reports: dict[str, Any], feed: Feed | None = None, **how: Any
) -> Page:
    """Records, of runs that were stopped; every way is answered at once."""

    def before(page: Page) -> None:
        stay_new(page)
        (feed or Feed(canned.whole(**AT_REST))).attach(page)
        short = ("run", "name", "outcome", "began_utc")
        runs = [{key: one[key] for key in short} for one in reports]
        page.route("**/api/v1/runs?**", lambda route: route.fulfill(json={"runs": runs}))
        for one in reports:
            route_run(page, one)

    return open_page(f"{files}/#records", before=before, **how)


def route_run(page: Page, report: dict[str, Any]) -> None:
    def found(route: Route) -> None:
        route.fulfill(json=way(report["run"], int(route.request.url.rpartition("=")[2])))

    page.route(f"**/api/v1/runs/{report['run']}/report", lambda one: one.fulfill(json=report))
    page.route(f"**/api/v1/runs/{report['run']}/way?**", found)


def show(page: Page) -> None:
    page.get_by_role("button", name="Show the way").click()


def test_a_way_that_is_answered_late_is_not_shown_for_another_run(
    open_page: Open, files: str
) -> None:
    page = records(open_page, files, ended(4), ended(3))
    late = Late()
    page.route("**/api/v1/runs/3/way?**", late.hold)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    expect(page.get_by_role("heading", name="Way back to run 3")).to_be_visible()
    show(page)
    page.get_by_role("button", name="Run 4, tray.nc").click()
    expect(page.get_by_role("heading", name="Way back to run 4")).to_be_visible()
    late.answer(page, way(3, 3))
    expect(page.get_by_role("button", name="Hold to go")).to_have_count(0)
    show(page)
    expect(page.get_by_role("button", name="Hold to go to line 4 of run 4")).to_be_visible()
    expect(page.get_by_text(f"{JOINT} 31.4° → 4.0°")).to_be_visible()


def test_a_way_that_is_answered_late_is_not_shown_for_another_line(
    open_page: Open, files: str
) -> None:
    page = records(open_page, files, ended(3))
    late = Late()
    page.route("**/api/v1/runs/3/way?from_line=3", late.hold)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    show(page)
    line = page.get_by_label("To the beginning of line")
    line.fill("12")
    late.answer(page, way(3, 3))
    expect(page.get_by_role("button", name="Hold to go")).to_have_count(0)
    show(page)
    expect(page.get_by_role("button", name="Hold to go to line 12 of run 3")).to_be_visible()


def test_a_report_that_is_answered_late_does_not_replace_the_one_chosen_since(
    open_page: Open, files: str
) -> None:
    page = records(open_page, files, ended(4), ended(3))
    late = Late()
    page.route("**/api/v1/runs/3/report", late.hold)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    page.get_by_role("button", name="Run 4, tray.nc").click()
    heading = page.get_by_role("heading", name="Way back to run 4")
    expect(heading).to_be_visible()
    late.answer(page, ended(3))
    expect(heading).to_be_visible()


def test_a_report_that_was_chosen_while_its_run_went_on_is_asked_for_anew_once_it_has_ended(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole())
    page = records(open_page, files, ended(3, outcome="playing", line=42), feed=feed)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    expect(page.get_by_role("heading", name="Run 3, tray.nc: playing")).to_be_visible()
    route_run(page, ended(3, line=90))
    feed.say(canned.change(2, set=AT_REST))
    expect(page.get_by_text("It was last in line 90")).to_be_visible()


@pytest.mark.parametrize("text", ["", "1e", "0", "1.5"])
def test_no_way_is_shown_to_what_is_no_line(open_page: Open, files: str, text: str) -> None:
    page = records(open_page, files, ended(3))
    page.get_by_role("button", name="Run 3, tray.nc").click()
    line = page.get_by_label("To the beginning of line")
    line.fill("")
    line.press_sequentially(text)
    expect(page.get_by_text("A line is a whole number from 1 on.")).to_be_visible()
    expect(page.get_by_role("button", name="Show the way")).to_have_attribute(
        "aria-disabled", "true"
    )


def test_beside_the_way_stands_how_to_play_on_from_there(open_page: Open, files: str) -> None:
    report = ended(3, block_delete=True, optional_stop=True)
    page = records(open_page, files, report, size=PHONE, bypass_csp=True)
    page.get_by_role("button", name="Run 3, tray.nc").click()
    show(page)
    card = page.get_by_role("region", name="Report")
    expect(card).to_contain_text(
        "with From line 3, and with Block delete and Optional stop on as in that run: it goes on "
        "from there; joints with an approach side first turn beyond it and back, and it pauses."
    )
    looks_well(page)
    card.screenshot(path=SHOTS / "way-back-360.png")
