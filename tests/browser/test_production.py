"""Figures of a run in loops, and what is asked for on Play, with an arm that is made up."""

import json
from typing import Any

import pytest
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


@pytest.mark.parametrize("width", [1280, 360])
def test_what_from_line_does_stands_beside_its_field(
    open_page: Open, files: str, width: int
) -> None:
    idle = canned.whole(run=None, phase="idle", condition=canned.condition("at rest"))
    page = open_page(
        f"{files}/#play",
        before=Feed(idle).attach,
        size={"width": width, "height": 800},
        bypass_csp=True,
    )
    beside = page.locator(".beside").first
    field = beside.get_by_label("From line").bounding_box()
    hint = beside.get_by_text("slowly to where it would be").bounding_box()
    assert field is not None
    assert hint is not None
    assert hint["x"] >= field["x"] + field["width"]
    assert hint["y"] < field["y"] + field["height"]
    assert field["y"] < hint["y"] + hint["height"]
    looks_well(page)


def test_time_and_bar_of_a_part_say_that_more_follow(open_page: Open, files: str) -> None:
    paused = canned.run(phase="paused", part=1, parts=3, path_us=7, end_us=7, left_us=0)
    feed = Feed(canned.whole(run=paused))
    page = open_page(files, before=feed.attach)
    bar = page.locator(".runbar")
    expect(bar.locator(".left")).to_have_text("0:00 left of this part; 2 more follow")
    expect(bar.get_by_role("img", name="33 % of the parts")).to_be_visible()
    feed.say(canned.change(2, set={"run": {**paused, "part": 3}}))
    expect(bar.locator(".left")).to_have_text("0:00 left of the last part")
    feed.say(canned.change(3, set={"run": {**paused, "parts": None}}))
    expect(bar.locator(".left")).to_have_text("0:00 left of this part; more may follow")


def test_the_listing_has_as_many_lines_as_the_program(open_page: Open, files: str) -> None:
    def before(page: Page) -> None:
        Feed(canned.whole()).attach(page)
        page.route(
            "**/api/v1/runs/3/program", lambda route: route.fulfill(body="G0 A1\nG0 A0\nM2\n")
        )

    page = open_page(f"{files}/#play", before=before)
    expect(page.locator(".listing li")).to_have_text(["G0 A1", "G0 A0", "M2"])


def test_cycle_times_are_told_with_and_without_the_checks_of_home_edges(
    open_page: Open, files: str
) -> None:
    feed = Feed(looping(production=PRODUCTION | {"mean_us": 76e6, "edges_mean_us": 62.5e6}))
    page = open_page(files, before=feed.attach)
    expect(page.locator(".runbar .production")).to_contain_text(
        "76.0\u00a0s each, 13.5\u00a0s without the checks of home edges"
    )
