"""What is asked for less often than home, play and stop, by mouse, finger and keyboard alone."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, Feed, Open, stay_new
from tests.browser.hands import Finger, Keys, Mouse
from tests.browser.looks import looks_well
from tests.browser.test_people import asked_of, warned

HANDS = pytest.mark.parametrize(
    ("size", "kind"),
    [(DESKTOP, Mouse), (PHONE, Finger), (DESKTOP, Keys), (PHONE, Keys)],
    ids=["mouse-1280", "finger-360", "keyboard-1280", "keyboard-360"],
)
REPORT = {
    "run": 3, "name": "prick_out_tray.nc", "outcome": "stopped", "message": "", "parts": 1,
    "began_utc": "2026-05-01T10:00:00+00:00", "ended_utc": "2026-05-01T10:01:00+00:00",
    "began_at_us": 0, "ended_at_us": 60_000_000, "start": None, "starts": [], "holds": [],
    "overrides": [], "partial_starts": 0, "stop_level": "stop", "stop_unconfirmed": ["elbow"],
    "unwritten": [],
    "joints": [
        {
            "name": name, "start_margin_us": 12_000, "clock_uncertainty_us": 600,
            "started_at_us": None,            "finished_at_us": None, "buffer_margin_us": None,
        }
        for name in canned.NAMES
    ],
}  # fmt: skip
DONE = {
    "rehearsal": 1, "state": "failed", "done": 0, "of": 9, "code": "program",
    "message": "the program has 1 mistake",
    "errors": [{"line": 1, "column": 4, "message": "A is 999°, its range ends at 170°"}],
}  # fmt: skip


def opened(
    open_page: Open,
    url: str,
    size: dict[str, int],
    kind: type[Mouse],
    feed: Feed,
    more: Callable[[Page], object] = lambda _: None,
) -> Page:
    """A page whose data stays new however slow the machine is."""

    def before(page: Page) -> None:
        feed.attach(page)
        more(page)
        stay_new(page)

    return open_page(url, size=size, touch=kind is Finger, bypass_csp=True, before=before)


@HANDS
def test_a_warning_is_marked_as_seen_and_a_joints_details_are_opened_and_closed(
    open_page: Open, files: str, size: dict[str, int], kind: type[Mouse]
) -> None:
    page = opened(open_page, files, size, kind, Feed(warned()))
    hand = kind(page)
    seen = asked_of(page, "/warnings/7/acknowledge", json={})
    with page.expect_response("**/acknowledge"):
        hand.press(page.get_by_role("button", name="Acknowledge"))
    assert seen == ["POST"]
    name = page.get_by_role("button", name=re.compile("^elbow"))
    hand.press(name)
    details = page.get_by_role("region", name="Details of elbow")
    expect(details.locator(".edges li")).to_have_count(4)
    looks_well(page)
    hand.press(name)
    expect(details).to_have_count(0)


@HANDS
def test_a_run_of_before_is_found_in_the_records_with_its_report(
    open_page: Open, files: str, size: dict[str, int], kind: type[Mouse]
) -> None:
    page = opened(open_page, files, size, kind, Feed(canned.whole()))
    hand = kind(page)
    asked_of(page, "/runs?*", json={"runs": [REPORT]})
    asked_of(page, "/runs/3/report", json=REPORT)
    hand.press(page.get_by_role("link", name="Records"))
    hand.press(page.get_by_role("button", name="Run 3, prick_out_tray.nc"))
    report = page.get_by_role("region", name="Report")
    expect(report.get_by_role("row")).to_have_count(7)
    expect(report).to_contain_text("elbow")
    record = report.get_by_role("link", name="Record of run 3")
    expect(record).to_have_attribute("href", "/api/v1/runs/3/record")
    looks_well(page)


@HANDS
def test_a_program_is_rehearsed_and_its_mistakes_are_told(
    open_page: Open, files: str, size: dict[str, int], kind: type[Mouse]
) -> None:
    wanted: list[Any] = []

    def begin(route: Route) -> None:
        if route.request.method == "POST":
            wanted.append(route.request.post_data_json)
        route.fulfill(json={"rehearsal": 1, "network": "home", "repetitions": 20})

    def answers(page: Page) -> None:
        page.route("**/api/v1/rehearsals", begin)

    page = opened(open_page, f"{files}/#play", size, kind, Feed(canned.whole()), answers)
    hand = kind(page)
    asked_of(page, "/rehearsals/1", json=DONE)
    hand.write(page.get_by_role("textbox", name="Program"), "G0 A999")
    hand.press(page.get_by_role("button", name="Rehearse"))
    expect(page.get_by_text("Line 1, column 4")).to_be_visible()
    assert [one["text"] for one in wanted] == ["G0 A999"]
    looks_well(page)


@HANDS
def test_a_token_is_given(
    open_page: Open, files: str, size: dict[str, int], kind: type[Mouse]
) -> None:
    given: list[Any] = []

    def answer(route: Route) -> None:
        if route.request.method == "GET":
            route.fulfill(json={"role": None})
        else:
            given.append(route.request.post_data_json)
            route.fulfill(status=401, json={"detail": "the token is wrong", "type": "x:token"})

    def asks(page: Page) -> None:
        page.route("**/api/v1/session", answer)

    page = opened(open_page, files, size, kind, Feed(), asks)
    hand = kind(page)
    hand.write(page.locator(".login input"), "a-guess")
    hand.press(page.get_by_role("button", name="Go on"))
    expect(page.locator(".login").get_by_role("alert")).to_contain_text("The token is wrong.")
    assert given == [{"token": "a-guess"}]
    looks_well(page)
