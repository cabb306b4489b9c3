"""Who may command, who has seen what, and what is said to those who may not."""

from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.test_gone import held_still


def warned() -> dict[str, Any]:
    """An arm with a warm joint, commanded by another page."""
    warning = {
        "id": 7, "joint": "elbow", "code": "joint-warm", "level": "attention",
        "message": "elbow is warm: 52.0 °C", "advice": "let it rest",
        "since_us": canned.NOW_US, "since_utc": "2026-01-01T00:00:00Z", "acknowledged": False,
    }  # fmt: skip
    control = {"holder": "them", "name": "a page", "watchers": 2}
    return canned.whole(warnings=[warning], control=control)


def asked_of(page: Page, path: str, **answer: Any) -> list[str]:
    """Answer this path of the API so; what was asked of it."""
    asked: list[str] = []

    def fulfil(route: Route) -> None:
        asked.append(route.request.method)
        route.fulfill(**answer)

    page.route(f"**/api/v1{path}", fulfil)
    return asked


def test_another_pages_control_is_shown_and_taken_over_only_when_asked(
    open_page: Open, files: str
) -> None:
    feed = Feed(warned())
    page = open_page(files, before=feed.attach)
    control = page.locator(".control")
    expect(control).to_contain_text("a page commands")
    expect(control).to_contain_text("1 other watches")
    taken = asked_of(page, "/control/take", json={})
    control.get_by_role("button", name="Take over").click()
    expect(page.locator(".said")).to_contain_text(
        "You have control. What moved was told to come to rest."
    )
    assert taken == ["POST"]
    feed.say(warned() | {"state": warned()["state"] | {"control": {"holder": "me"}}})
    expect(control).to_contain_text("You command")


def test_what_is_refused_is_said_in_the_coordinators_own_sentence(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(warned()).attach)
    sentence = "a page has control and commanded 3 s ago; take control first"
    problem = {"type": "urn:unisono:problem:control", "detail": sentence}
    asked_of(page, "/hold", status=409, json=problem)
    page.get_by_role("button", name="Hold", exact=True).click()
    said = page.locator(".said")
    expect(said).to_contain_text("A page has control and commanded 3 s ago")
    # And the way to it.
    taken = asked_of(page, "/control/take", json={})
    said.get_by_role("button", name="Take over, which holds what moves").click()
    expect(said).to_contain_text("You have control. What moved was told to come to rest.")
    assert taken == ["POST"]


def test_an_undelivered_stop_stays_told_while_a_rehearsal_is_followed_past_a_failure(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole())
    page = open_page(f"{files}/#play", before=feed.attach)
    looks: list[str] = []
    asked_of(page, "/rehearsals", json={"rehearsal": 1, "network": "home", "repetitions": 20})

    def look(route: Route) -> None:
        looks.append(route.request.method)
        feed.say(canned.whole())
        if len(looks) == 3:
            route.abort()
        else:
            done = len(looks) > 5
            state = "cancelled" if done else "running"
            route.fulfill(json={"rehearsal": 1, "state": state, "done": 1, "of": 9})

    page.route("**/api/v1/rehearsals/1", look)
    page.route("**/api/v1/stop", lambda route: route.abort())
    page.get_by_role("textbox", name="Program").fill("M2")
    page.get_by_role("button", name="Rehearse").click()
    page.get_by_role("button", name="Stop", exact=True).click()
    alert = page.locator(".said")
    expect(alert).to_contain_text("The stop was not delivered")
    expect(page.get_by_text("Cancelled: 1 of 9 rehearsals.")).to_be_visible(timeout=30_000)
    expect(alert).to_contain_text("The stop was not delivered")


def test_a_stop_that_was_not_delivered_stays_said_until_one_gets_through(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    page.route("**/api/v1/hold", lambda route: route.fulfill(json={"phase": "idle"}))
    page.route("**/api/v1/stop", lambda route: route.abort())
    stop = page.get_by_role("button", name="Stop", exact=True)
    stop.click()
    alert = page.locator(".said")
    expect(alert).to_contain_text("The stop was not delivered")
    with page.expect_response("**/api/v1/hold"):
        page.get_by_role("button", name="Hold", exact=True).click()
    expect(alert).to_contain_text("The stop was not delivered")
    page.route("**/api/v1/stop", lambda route: route.fulfill(json={"phase": "idle"}))
    stop.click()
    expect(alert).to_contain_text("Stop is sent")
    expect(alert).not_to_contain_text("not delivered")


@pytest.mark.parametrize(
    ("path", "button", "sentence"),
    [
        ("/stop", "Stop", "The stop was not delivered."),
        ("/hold", "Hold", "The hold was not delivered."),
    ],
)
def test_a_stop_or_hold_that_nobody_answers_is_told_as_not_delivered(
    open_page: Open, files: str, path: str, button: str, sentence: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    page.route(f"**/api/v1{path}", lambda route: None)
    page.get_by_role("button", name=button, exact=True).click()
    alert = page.locator(".said")
    expect(alert).to_contain_text(sentence, timeout=30_000)
    expect(alert).to_contain_text("did not answer within 2 s")


def test_a_joint_that_does_not_confirm_a_stop_is_named_above_all_until_it_does(
    open_page: Open, files: str
) -> None:
    def wanting(*names: str) -> dict[str, Any]:
        about = canned.condition("moving", "the stop has not reached them", unconfirmed=names)
        return canned.whole(condition=about)

    feed = Feed(wanting("wrist", "tool"))

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)

    page = open_page(files, before=before)
    page.locator(".lane").nth(5).wait_for()
    alarm = page.locator(".band .alarm")
    # A stop takes a few exchanges.
    page.clock.run_for(900)
    expect(alarm).to_have_count(0)
    page.clock.run_for(200)
    expect(alarm).to_contain_text("The stop has not reached wrist and tool")
    expect(alarm).to_contain_text("may still move. Use the emergency stop that cuts the power.")
    expect(page.locator(".lane.danger .state")).to_contain_text(["stop not confirmed"] * 2)
    size = "(element) => parseFloat(getComputedStyle(element).fontSize)"
    largest = alarm.locator(".says").evaluate(size)
    assert largest >= page.locator(".sign .says").evaluate(size)
    feed.say(wanting("wrist"))
    expect(alarm).to_contain_text("The stop has not reached wrist")
    expect(alarm).not_to_contain_text("tool")
    feed.say(wanting())
    expect(alarm).to_have_count(0)


def test_nothing_calm_is_said_beside_a_stop_that_is_not_confirmed_or_a_joint_that_is_not_heard(
    open_page: Open, files: str
) -> None:
    def resting(*names: str) -> dict[str, Any]:
        about = canned.condition("stopped", unconfirmed=names)
        return canned.whole(phase="idle", run=None, condition=about)

    feed = Feed(resting("tool"))

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)

    page = open_page(files, before=before)
    line = page.locator(".runbar .line")
    expect(line).to_have_text("stop not confirmed by tool")
    feed.say(resting())
    expect(line).to_have_text("all joints are homed")
    lost = resting()
    lost["state"]["joints"][2]["heard_at_us"] = canned.NOW_US - 5_000_000
    feed.say(lost)
    expect(line).to_have_text("elbow not heard")


def test_a_held_run_says_whom_a_resume_would_bring_up_first(open_page: Open, files: str) -> None:
    held = canned.run(phase="held", behind_us={"elbow": 0, "wrist": 100_000})

    def before(page: Page) -> None:
        Feed(canned.whole(run=held, phase="held", condition=canned.condition("held"))).attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    expect(page.locator("#resumes")).to_contain_text(
        "Resume first brings up slowly what is behind (wrist by 100\u00a0ms), then goes on at line"
    )


def test_a_joint_that_is_offline_says_why_and_its_angle_is_the_last(
    open_page: Open, files: str
) -> None:
    told = canned.whole(run=None, phase="idle")
    told["state"]["joints"][4] |= {
        "link": "offline", "link_message": "not found on the network",
        "heard_at_us": canned.NOW_US - 5_000_000,
    }  # fmt: skip

    def before(page: Page) -> None:
        Feed(told).attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    lanes = page.get_by_role("listitem").filter(has=page.get_by_role("heading", level=2))
    wrist = lanes.filter(has_text="wrist")
    expect(wrist.locator(".state")).to_have_text("offline")
    expect(wrist.locator(".cause")).to_have_text("not found on the network.")
    expect(wrist).to_contain_text("last ")
    expect(lanes.filter(has_text="elbow")).not_to_contain_text("last ")


def test_who_lost_control_is_told_and_who_gave_it_back_is_not(open_page: Open, files: str) -> None:
    def mine() -> dict[str, Any]:
        return canned.whole(control={"holder": "me", "name": "a page", "watchers": 2})

    feed = Feed(mine())
    page = open_page(files, before=feed.attach)
    said = page.locator(".said")
    expect(page.locator(".control")).to_contain_text("You command")
    feed.say(canned.whole(control={"holder": "them", "name": "a phone", "watchers": 2}))
    expect(said).to_contain_text("A phone commands now, and you do not any more.")
    taken = asked_of(page, "/control/take", json={})
    said.get_by_role("button", name="Take over, which holds what moves").click()
    feed.say(mine())
    expect(said).not_to_contain_text("a phone")
    assert taken == ["POST"]

    asked_of(page, "/control/release", json={})
    with page.expect_response("**/control/release"):
        page.get_by_role("button", name="Give back").click()
    feed.say(canned.whole(control={"holder": None, "name": None, "watchers": 2}))
    expect(page.locator(".control")).to_contain_text("Nobody commands")
    expect(said).not_to_contain_text("command")
    # The button that was pressed is another one now, and keeps the focus.
    expect(page.get_by_role("button", name="Take control")).to_be_focused()


def test_a_page_that_is_closed_gives_control_back(open_page: Open, files: str) -> None:
    feed = Feed(canned.whole(control={"holder": "me", "name": "a page", "watchers": 1}))

    def before(page: Page) -> None:
        feed.attach(page)
        page.add_init_script(
            """const ask = window.fetch;
            window.fetch = (url, request) => {
                if (request?.keepalive) sessionStorage.setItem("last", `${request.method} ${url}`);
                return ask(url, request);
            };"""
        )

    page = open_page(files, before=before)
    expect(page.locator(".control")).to_contain_text("You command")
    asked_of(page, "/control/release", json={})
    page.goto(f"{files}/favicon.svg")
    last = page.evaluate("() => sessionStorage.getItem('last')")
    assert last == "POST /api/v1/control/release"


def test_a_link_that_loses_much_is_told_with_what_to_do(open_page: Open, files: str) -> None:
    first = warned()
    first["state"]["warnings"][0] |= {
        "code": "link-lossy",
        "message": "elbow: 31% of the exchanges with it are lost, 20% are already many: starts are "
        "set further ahead, and the arm is likely to hold",
        "advice": "bring access point, laptop and arm nearer together",
    }
    page = open_page(files, before=Feed(first).attach)
    expect(page.locator(".unseen-warnings")).to_contain_text("elbow: 31% of the exchanges")
    expect(page.get_by_role("region", name="What happened")).to_contain_text("Bring access point")


def test_parts_of_what_happened_are_told_when_asked(open_page: Open, files: str) -> None:
    first = canned.whole()
    part = canned.note(canned.NOW_US, "elbow holds at 1.569 s of the path")
    first["state"]["notes"] = [part | {"detail": True}, canned.note(canned.NOW_US, "held")]
    page = open_page(files, before=Feed(first).attach)
    told = page.get_by_role("region", name="What happened").get_by_role("listitem")
    expect(told).to_have_count(1)
    page.get_by_role("button", name="With details").click()
    expect(told).to_have_count(2)


def test_a_warning_says_what_to_do_and_is_marked_as_seen(open_page: Open, files: str) -> None:
    feed = Feed(warned())
    page = open_page(files, before=feed.attach)
    journal = page.get_by_role("region", name="What happened")
    expect(journal).to_contain_text("elbow is warm: 52.0 °C. Let it rest.")
    # Also where people look first, until somebody has seen it.
    expect(page.get_by_text("elbow is warm: 52.0 °C.")).to_have_count(2)
    seen = asked_of(page, "/warnings/7/acknowledge", json={})
    with page.expect_response("**/acknowledge"):
        journal.get_by_role("button", name="Acknowledge").click()
    assert seen == ["POST"]
    acknowledged = warned()
    acknowledged["state"]["warnings"][0]["acknowledged"] = True
    feed.say(acknowledged)
    expect(journal.get_by_role("button", name="Acknowledge")).to_have_count(0)
    expect(page.get_by_text("elbow is warm: 52.0 °C.")).to_have_count(1)


def test_a_home_that_wandered_is_accepted_where_it_is_told(open_page: Open, files: str) -> None:
    told = warned()
    told["state"]["warnings"][0] |= {
        "code": "home-wandered", "level": "danger",
        "message": "elbow does not count as homed: home was found +0.09° from its reference",
    }  # fmt: skip
    page = open_page(files, before=Feed(told).attach)
    accepted = asked_of(page, "/joints/elbow/home/accept", json={})
    journal = page.get_by_role("region", name="What happened")
    with page.expect_response("**/home/accept"):
        journal.get_by_role("button", name="Accept the home of elbow").click()
    assert accepted == ["POST"]


def test_runs_are_listed_fifty_at_a_time_and_older_ones_when_asked(
    open_page: Open, files: str
) -> None:
    def some(route: Route) -> None:
        query = parse_qs(urlsplit(route.request.url).query)
        newest = int(query["before"][0]) - 1 if "before" in query else 70
        numbers = range(newest, max(0, newest - int(query["limit"][0])), -1)
        utc = "2026-05-01T10:00:00+00:00"
        one = {"name": "a.nc", "outcome": "finished", "began_utc": utc, "ended_utc": utc}
        route.fulfill(json={"runs": [{"run": number, **one} for number in numbers]})

    page = open_page(files, before=Feed(canned.whole()).attach)
    page.route("**/api/v1/runs?*", some)
    page.get_by_role("link", name="Records").click()
    runs = page.get_by_role("region", name="Runs").get_by_role("listitem")
    expect(runs).to_have_count(50)
    expect(runs.first).to_contain_text("Run 70, a.nc")
    page.get_by_role("button", name="Older runs").click()
    expect(runs).to_have_count(70)
    expect(runs.last).to_contain_text("Run 1, a.nc")
    expect(page.get_by_role("button", name="Older runs")).to_have_count(0)


def test_without_a_token_the_page_asks_for_one_and_says_when_it_is_wrong(
    open_page: Open, files: str
) -> None:
    def before(page: Page) -> None:
        Feed().attach(page)
        page.route("**/api/v1/session", answer)

    def answer(route: Route) -> None:
        if route.request.method == "GET":
            route.fulfill(json={"role": None})
        else:
            problem = {"type": "urn:unisono:problem:token", "detail": "the token is wrong"}
            route.fulfill(status=401, json=problem)

    page = open_page(files, before=before)
    page.locator(".login input").fill("a-guess")
    page.get_by_role("button", name="Go on").click()
    expect(page.locator(".login").get_by_role("alert")).to_contain_text("The token is wrong.")

    # Stop is there all the same, and what became of it is said.
    expect(page.locator(".commands .caution span")).to_have_text(
        "A software stop. Not an emergency stop."
    )
    asked_of(page, "/stop", status=401, json={"detail": "a token is needed"})
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator(".said")).to_contain_text("The stop was not delivered")


def test_details_draw_the_temperature_of_the_last_minutes(open_page: Open, files: str) -> None:
    page = open_page(files, size=PHONE, before=Feed(canned.whole()).attach)
    page.get_by_role("button", name="turntable").click()
    details = page.get_by_role("region", name="Details of turntable")
    expect(details.locator("figure canvas")).to_have_count(1)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"]
    page.screenshot(path=SHOTS / "details-360.png", full_page=True)
