"""Ways that are gone while a control is held: back to a run, and to `park` before motors go off."""

import re
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import Feed, Open, stay_new
from tests.browser.test_every_hand import REPORT

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
    told = held_and_let_go(page, feed, "Hold to go to line 7")
    assert told[0] == {"type": "go", "angles_deg": {joint: 12.5}}
    assert told[-1] == {"type": "jog", "velocities_deg_s": {}}
