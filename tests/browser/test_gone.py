"""A coordinator that dies or falls silent: what is shown must not look live."""

import json
import re

from playwright.sync_api import Page, WebSocketRoute, expect

from tests.browser import canned
from tests.browser.conftest import Feed, Open
from tests.e2e.harness import until

PATIENCE_MS = 60_000


def is_gone(page: Page, joints: int) -> None:
    """Wait until the page says so, and no lane looks live."""
    expect(page.get_by_text("This page does not hear the coordinator")).to_be_visible(
        timeout=PATIENCE_MS
    )
    expect(page.locator(".lane.stale")).to_have_count(joints)


def test_a_feed_that_falls_silent_counts_as_gone_and_a_word_brings_it_back(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole())
    page = open_page(files, before=feed.attach)
    is_gone(page, 6)
    # Perhaps only this page's network is gone: it does not know what the arm does.
    sign = page.locator(".sign")
    expect(sign).to_contain_text("not known")
    expect(sign).to_contain_text("What is shown is old.")
    expect(sign).to_contain_text("the arm may still move")
    feed.say(canned.whole())
    expect(page.locator(".lane:not(.stale)")).to_have_count(6)


_COLOURS = """() => {
    const values =
        ".angle, .warmth, .small, .name, .details dd, .details li, .runbar p, .journal p";
    const shown = [...document.querySelectorAll(values)].filter((one) =>
        one.textContent && !one.matches(".age, .caution, .state, .why") && one.checkVisibility());
    return shown.map((one) => [one.className || one.tagName, getComputedStyle(one).color]);
}"""
_FAINT = "rgb(90, 98, 104)"


_COUNTS_ENDS = """window.ended = 0;
    const Real = WebSocket;
    window.WebSocket = class extends Real {
        constructor(...given) {
            super(...given);
            this.addEventListener("close", () => { window.ended += 1; });
        }
    };"""


def held_still(page: Page) -> None:
    """Its clock stands, so that a slow machine cannot make anything old."""
    page.clock.install(time=0)
    page.clock.pause_at(10_000)


def test_within_a_second_of_the_last_word_every_value_is_grey_and_the_page_says_so(
    open_page: Open, files: str
) -> None:
    def before(page: Page) -> None:
        held_still(page)
        Feed(canned.whole()).attach(page)

    page = open_page(files, before=before)
    page.locator(".lane").nth(5).wait_for()
    page.locator(".lane .name").first.click()
    page.clock.run_for(100)  # what is asked for is asked once it is drawn
    page.locator(".edges li").first.wait_for()
    told = page.get_by_text("This page does not hear the coordinator")
    page.clock.run_for(400)
    expect(told).to_have_count(0)
    assert _FAINT not in {colour for name, colour in page.evaluate(_COLOURS) if name == "angle"}
    page.clock.run_for(500)
    expect(told).to_have_count(1)
    colours = page.evaluate(_COLOURS)
    assert {name for name, _ in colours} >= {"angle", "name", "DD", "LI", "line", "left"}
    assert {colour for _, colour in colours} == {_FAINT}


def test_while_the_coordinator_is_gone_ages_go_on_and_the_band_says_by_when_the_arm_rests(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole())

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)

    page = open_page(files, before=before)
    age = page.locator(".lane .age").first
    expect(age).to_have_text(re.compile(r"0\.\d\d\ss old"))
    feed.cut()
    page.clock.run_for(5_000)
    expect(page.locator(".sign .cause")).to_contain_text(
        re.compile(r"by its own rules at rest by \d\d:\d\d:\d\d; not confirmed")
    )
    expect(age).to_have_text(re.compile(r"5\.\d\ss old"))
    page.clock.run_for(20_000)
    expect(age).to_have_text(re.compile(r"25\ss old"))
    # By when it rests does not go on: silence and ramp after the last word.
    by = page.locator(".sign .cause").inner_text().partition("rest by ")[2][:8]
    now = page.evaluate("() => Date.now()")
    day_ms = page.evaluate(
        """([by, now]) => {
            const date = new Date(now);
            const [hours, minutes, seconds] = by.split(":").map(Number);
            return now - date.setHours(hours, minutes, seconds);
        }""",
        [by, now],
    )
    assert 18_000 <= day_ms <= 22_500


def test_an_ended_connection_counts_as_gone_at_once(open_page: Open, files: str) -> None:
    feed = Feed(canned.whole())

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)

    page = open_page(files, before=before)
    page.locator(".lane").nth(5).wait_for()
    feed.cut()
    is_gone(page, 6)


def test_a_coordinator_that_stays_gone_is_asked_less_and_less_often(
    open_page: Open, files: str
) -> None:
    asked: list[str] = []

    def refuse(socket: WebSocketRoute) -> None:
        asked.append(socket.url)
        socket.close()

    def before(page: Page) -> None:
        held_still(page)
        Feed().attach(page)
        page.route_web_socket("**/api/v1/feed**", refuse)
        page.add_init_script(_COUNTS_ENDS)

    page = open_page(files, before=before)
    for count, wait_ms in enumerate((250, 500, 1000, 2000, 2000), 1):
        until(lambda k=count: page.evaluate("window.ended") == k, f"{count} ended")  # type: ignore[misc]
        assert len(asked) == count
        page.clock.run_for(wait_ms - 1)
        assert len(asked) == count
        page.clock.run_for(1)


def test_a_gap_in_the_numbers_makes_the_page_ask_anew_before_silence_does(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole())

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)
        page.add_init_script(_COUNTS_ENDS)

    page = open_page(files, before=before)
    page.locator(".lane").first.wait_for()
    after = canned.change(3, set={"arm": "what came after the gap"})
    feed.first = (canned.whole(arm="the arm asked anew"),)
    feed.sockets[-1].send(json.dumps(after))
    until(lambda: page.evaluate("window.ended") == 1, "the gap was noticed")
    page.clock.run_for(250)  # far less than the silence after which a connection counts as dead
    expect(page.locator("h1")).to_have_text("the arm asked anew")


def test_a_joint_that_is_silent_is_grey_and_says_how_old_its_word_is(
    open_page: Open, files: str
) -> None:
    first = canned.whole()
    first["state"]["joints"][2]["heard_at_us"] = canned.NOW_US - 7_000_000
    page = open_page(files, before=Feed(first).attach)
    lane = page.locator(".lane", has_text="elbow")
    expect(lane.locator(".state")).to_contain_text("offline")
    expect(lane.locator(".age")).to_contain_text("7.")


def test_a_newer_coordinator_asks_for_a_reload(open_page: Open, files: str) -> None:
    feed = Feed(canned.whole(version="1"))
    page = open_page(files, before=feed.attach)
    page.locator(".lane").first.wait_for()
    expect(page.get_by_role("button", name="Reload")).to_have_count(0)
    feed.say(canned.whole(version="2"))
    expect(page.get_by_role("button", name="Reload")).to_be_visible()
