"""Figures of a run in loops, and what is asked for on Play, with an arm that is made up."""

import json
from typing import Any

from playwright.sync_api import Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import PHONE, SHOTS, Feed, Open
from tests.browser.looks import looks_well
from tests.browser.test_every_hand import REPORT

PRODUCTION: dict[str, Any] = {
    "done": 4, "mean_us": 9_500_000,
    "slowest": {
        "loop": 2, "lasted_us": 14_200_000,
        "delays": [
            {"kind": "held", "why": "the operator asked", "lasted_us": 4_700_000},
            {"kind": "waited", "why": "seedling_held to be on", "lasted_us": 400_000},
        ],
    },
    "interventions": {"holds": 1, "takeovers": 0, "other_holds": 0, "pauses": 2,
                      "speed_changes": 0},
}  # fmt: skip


def looping(**values: Any) -> dict[str, Any]:
    """An arm that plays in loops."""
    known = {"loop": 5, "loops": 40, "to_go_us": 342_000_000, "production": PRODUCTION}
    return canned.whole(run=canned.run(**(known | values)))


def test_watch_tells_figures_of_loops_and_what_held_the_slowest_up(
    open_page: Open, files: str
) -> None:
    page = open_page(files, size=PHONE, bypass_csp=True, before=Feed(looping()).attach)
    bar = page.locator(".runbar")
    expect(bar).to_contain_text("loop 5 of 40")
    told = bar.locator(".production")
    expect(told).to_contain_text("4 done of 40, 9.5\u00a0s each, 5:42 to go.")
    expect(told).to_contain_text(
        "Slowest: loop 2, 14.2\u00a0s: held 4.7\u00a0s (the operator asked); "
        "waited for seedling_held to be on 0.4\u00a0s."
    )
    expect(told).to_contain_text("1 hold by people, 2 pauses.")
    page.screenshot(path=SHOTS / "loops-360.png", full_page=True)
    looks_well(page)


def test_for_a_time_it_tells_until_when_loops_are_begun_and_that_edges_are_checked(
    open_page: Open, files: str
) -> None:
    first = looping(loops=None, for_s=600.0, parts=None, checks_edges_now=True)
    page = open_page(files, before=Feed(first).attach)
    bar = page.locator(".runbar")
    expect(bar).to_contain_text("home edges before loop 5")
    expect(bar.locator(".production")).to_contain_text(
        "4 done, 9.5\u00a0s each, 5:42 left to begin"
    )


def test_minutes_and_edges_are_asked_for_and_what_is_wrong_is_told(
    open_page: Open, files: str
) -> None:
    asked: list[dict[str, Any]] = []
    checked = {
        "ok": True, "moves": [], "slower": [], "corners": [], "remarks": [], "errors": [],
        "duration_s": 0.0, "begins": "here",
        "seam": {"line": 1, "turns_deg": {"elbow": -30.0}, "duration_s": 1.2, "obstacle": ""},
    }  # fmt: skip

    def play(route: Route) -> None:
        asked.append(json.loads(route.request.post_data or "{}"))
        route.fulfill(status=202, json={"run": 4})

    def before(page: Page) -> None:
        Feed(canned.whole(phase="idle", run=None)).attach(page)
        page.route("**/api/v1/check", lambda route: route.fulfill(json=checked))
        page.route("**/api/v1/runs", play)

    page = open_page(f"{files}/#play", before=before)
    page.get_by_label("Program", exact=True).fill("G0 A10\nM2\n")
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.locator(".play")).to_contain_text(
        "Another loop begins with line 1 from where it ends: elbow by −30.00°, 1.2\u00a0s."
    )
    minutes = page.locator(".play").get_by_label("or for minutes")
    expect(page.get_by_label("Check home edges in between")).to_have_count(0)
    minutes.fill("0")
    expect(page.locator(".play [role=alert]")).to_contain_text(
        "Minutes is 0, but must be above 0 and at most 1440"
    )
    button = page.get_by_role("button", name="Play", exact=True)
    expect(button).to_have_attribute("aria-disabled", "true")
    minutes.fill("1.5")
    page.get_by_label("Check home edges in between").check()
    expect(page.locator(".play")).to_contain_text("look first what stands in its way")
    minutes.fill("")
    minutes.press_sequentially("1e")
    expect(page.locator(".play [role=alert]")).to_contain_text("Minutes is no number")
    expect(minutes).to_have_attribute("aria-invalid", "true")
    expect(button).to_have_attribute("aria-disabled", "true")
    minutes.fill("1.5")
    button.click()
    expect(page).to_have_url(f"{files}/#watch")
    (body,) = asked
    assert (body["for_s"], body["check_edges"], "loops" in body) == (90.0, True, False)


def test_loops_with_home_edges_are_said_to_take_longer_than_their_motion(
    open_page: Open, files: str
) -> None:
    checked = {
        "ok": True, "moves": [], "slower": [], "corners": [], "remarks": [], "errors": [],
        "duration_s": 30.0, "begins": "here", "seam": None,
    }  # fmt: skip

    def before(page: Page) -> None:
        Feed(canned.whole(phase="idle", run=None)).attach(page)
        page.route("**/api/v1/check", lambda route: route.fulfill(json=checked))
        page.route("**/api/v1/check/curves", lambda route: route.fulfill(status=422, json={}))

    page = open_page(f"{files}/#play", before=before)
    page.get_by_label("Program", exact=True).fill("G0 A10\nM2\n")
    page.get_by_role("button", name="Check", exact=True).click()
    page.locator(".play").get_by_label("Loops", exact=True).fill("3")
    told = page.get_by_text("about 1:30 without pauses")
    expect(told).to_have_text("about 1:30 without pauses")
    page.get_by_label("Check home edges in between").check()
    expect(told).to_have_text("about 1:30 without pauses, and what the edges take")


def test_the_text_of_a_long_program_is_not_fetched_while_it_moves(
    open_page: Open, files: str
) -> None:
    asked: list[str] = []
    feed = Feed(canned.whole(run=canned.run(lines=50_001)))

    def before(page: Page) -> None:
        feed.attach(page)
        page.route("**/api/v1/runs/3/report", lambda route: route.fulfill(json=REPORT))
        page.on("request", lambda request: asked.append(request.url))

    page = open_page(f"{files}/#play", before=before)
    listing = page.get_by_role("region", name="The program that is played")
    expect(listing).to_contain_text("Its 50001 lines are too long to be shown here")
    expect(listing).to_contain_text("line 42")
    feed.say(canned.change(2, set={"run": canned.run(number=4, lines=50_000)}))
    expect(listing.get_by_role("listitem").first).to_have_text("G0 A10")
    fetched = [url.rpartition("/api/v1/")[2] for url in asked if url.endswith("/program")]
    assert fetched == ["runs/4/program"]
