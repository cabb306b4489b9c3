"""Alarms on the page: how soon to act and why, a shelf, a flood, and signals for who looks away."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.alarms import alarm
from tests.browser.conftest import Feed, Open, stay_new
from tests.browser.test_people import asked_of

SHELF: dict[str, Any] = {
    "id": 3, "joint": "wrist", "code": "link-lossy", "who": "the bench", "stands": True,
    "until_us": canned.NOW_US + 3_600_000_000, "until_utc": "2026-01-01T01:00:00Z",
}  # fmt: skip


def told(*warnings: dict[str, Any], **alarms: Any) -> dict[str, Any]:
    """An arm with these alarms."""
    beside = {"returned": [], "shelved": [], "flood": None, **alarms}
    return canned.whole(warnings=list(warnings), alarms=beside)


def test_an_alarm_says_how_soon_why_what_comes_of_it_and_what_to_do(
    open_page: Open, files: str
) -> None:
    first = told(
        alarm(1, "supply-low", "supply", first_out=True),
        alarm(2, "joint-offline", "connection", level="danger", priority="high"),
    )
    page = open_page(files, before=Feed(first).attach)
    journal = page.get_by_role("region", name="What happened")
    low, lost = (journal.get_by_role("listitem").filter(has_text=f"alarm {k}") for k in (1, 2))
    expect(low).to_contain_text(
        "wrist has alarm 1. Look at its plug. Medium priority. It was the first of those that "
        "came together, or among the first. Likely cause: a loose plug. If nobody acts: it stops."
    )
    expect(lost).to_contain_text("High priority.")
    # By shape too: one is not told from the other by its colour alone.
    shapes = [one.locator(".shape path").get_attribute("d") for one in (low, lost)]
    assert shapes[0] != shapes[1]
    # What stops the arm is never shelved.
    expect(low.get_by_role("button", name="Shelve")).to_have_count(1)
    expect(lost.get_by_role("button", name="Shelve")).to_have_count(0)


def test_an_alarm_is_shelved_for_a_time_and_taken_off_again(open_page: Open, files: str) -> None:
    feed = Feed(told(alarm(3, "link-lossy", "connection", priority="low")))
    page = open_page(files, before=feed.attach)
    journal = page.get_by_role("region", name="What happened")
    asked_of(page, "/warnings/3/shelve", json=SHELF)
    journal.get_by_role("button", name="Shelve").click()
    with page.expect_request("**/warnings/3/shelve") as asked:
        journal.get_by_role("button", name="1 h").click()
    assert asked.value.post_data_json == {"for_s": 3600}
    feed.say(told(alarm(3, "link-lossy", "connection", state="shelved"), shelved=[SHELF]))
    # It is counted where people look first, and stands in the list all the same.
    expect(page.locator(".unseen-warnings")).to_have_text(" 1 alarm is shelved, without a sign.")
    expect(journal).to_contain_text("wrist has alarm 3")
    expect(journal).to_contain_text("link-lossy of wrist, by the bench: it is so.")
    taken = asked_of(page, "/warnings/3/unshelve", json=SHELF)
    with page.expect_response("**/unshelve"):
        journal.get_by_role("button", name="Take off the shelf").click()
    assert taken == ["POST"]


def test_what_is_over_and_nobody_saw_stays_until_somebody_does(open_page: Open, files: str) -> None:
    over = alarm(5, "supply-low", "supply", state="returned")
    page = open_page(files, before=Feed(told(returned=[over])).attach)
    expect(page.locator(".unseen-warnings")).to_contain_text("1 alarm is over")
    journal = page.get_by_role("region", name="What happened")
    expect(journal).to_contain_text("Over, and acknowledged by nobody")
    seen = asked_of(page, "/warnings/5/acknowledge", json=over)
    with page.expect_response("**/acknowledge"):
        journal.get_by_role("button", name="Acknowledge").click()
    assert seen == ["POST"]


def test_what_was_on_another_day_has_its_date_and_each_button_says_of_which_alarm_it_is(
    open_page: Open, files: str
) -> None:
    old = alarm(5, "supply-low", "supply", state="returned", since_us=-3 * 86_400_000_000)
    low = alarm(6, "link-lossy", "connection", priority="low")
    page = open_page(files, before=Feed(told(low, returned=[old], shelved=[SHELF])).attach)
    journal = page.get_by_role("region", name="What happened")
    over = journal.get_by_role("listitem").filter(has_text="alarm 5")
    expect(over.locator("time")).to_contain_text(re.compile(r"^20\d\d-\d\d-\d\d "))
    for name in (
        "Acknowledge supply-low of wrist", "Acknowledge link-lossy of wrist",
        "Shelve… link-lossy of wrist", "Take off the shelf: link-lossy of wrist",
    ):  # fmt: skip
        expect(journal.get_by_role("button", name=name, exact=True)).to_have_count(1)


def test_a_flood_is_said_and_grouped_by_origin_and_loses_none(open_page: Open, files: str) -> None:
    warnings = [alarm(k, "supply-low", "heat" if k == 1 else "supply") for k in range(1, 13)]
    flood = {"since_us": 0, "count": 12, "by_origin": {"supply": 11, "heat": 1}}
    page = open_page(files, before=Feed(told(*warnings, flood=flood)).attach)
    expect(page.locator(".unseen-warnings li").first).to_contain_text(
        "A flood of alarms: 12 began within ten minutes (11 of supply, 1 of heat)."
    )
    journal = page.get_by_role("region", name="What happened")
    expect(journal.locator(".group")).to_have_text(["Supply: 11", "Heat: 1"])
    expect(journal.get_by_role("button", name="Acknowledge")).to_have_count(12)


FAKES = """
  window.signals = [];
  window.Notification = class {
    static requestPermission() { window.signals.push("asked"); return Promise.resolve("%s"); }
    constructor(title, { body }) { window.signals.push(`${title}: ${body}`); }
  };
  window.AudioContext = class {
    currentTime = 0;
    state = "running";
    constructor() { window.AudioContext.newest = this; }
    resume() { return Promise.resolve(); }
    createGain() {
      return { gain: { setValueAtTime() {}, setTargetAtTime() {} }, connect: (to) => to };
    }
    createOscillator() {
      const start = () => window.signals.push("beep");
      return { frequency: {}, connect: (to) => to, start, stop() {} };
    }
  };
"""


def signalled(page: Page) -> list[str]:
    """What was asked of the browser, in order."""
    found: list[str] = page.evaluate("window.signals")
    return found


def opened(open_page: Open, files: str, feed: Feed, answer: str = "granted") -> Page:
    """A page whose browser says what it is asked to signal."""

    def before(page: Page) -> None:
        page.add_init_script(FAKES % answer)
        feed.attach(page)
        stay_new(page)

    return open_page(files, before=before)


def test_signals_are_off_until_somebody_turns_them_on(open_page: Open, files: str) -> None:
    feed = Feed(told())
    page = opened(open_page, files, feed)
    sound = page.get_by_role("button", name="Sound for new alarms")
    expect(sound).to_have_attribute("aria-pressed", "false")
    feed.say(told(alarm(1, "supply-low", "supply")))
    expect(page.locator(".unseen-warnings")).to_contain_text("wrist has alarm 1")
    assert signalled(page) == []


def test_a_new_alarm_sounds_by_its_priority_and_one_that_was_seen_does_not(
    open_page: Open, files: str
) -> None:
    feed = Feed(told(alarm(1, "supply-low", "supply")))
    page = opened(open_page, files, feed)
    page.get_by_role("button", name="Sound for new alarms").click()
    expect(page.locator(".signals")).to_contain_text("Silence is no proof that all is well.")
    assert signalled(page) == ["beep"]  # so that it was heard once; what stood is not new
    hot = alarm(2, "joint-hot", "heat", level="danger", priority="high")
    feed.say(told(alarm(1, "supply-low", "supply"), hot))
    expect(page.locator(".unseen-warnings")).to_contain_text("wrist has alarm 2")
    assert signalled(page) == ["beep"] * 4
    seen = hot | {"state": "acknowledged", "acknowledged": True}
    feed.say(told(seen, alarm(3, "link-lossy", "connection", state="shelved")))
    expect(page.locator(".unseen-warnings")).to_have_count(0)
    assert signalled(page) == ["beep"] * 4


def test_one_that_was_over_before_the_page_heard_of_it_sounds_too(
    open_page: Open, files: str
) -> None:
    feed = Feed(told())
    page = opened(open_page, files, feed)
    page.get_by_role("button", name="Sound for new alarms").click()
    feed.say(told(returned=[alarm(1, "motor-supply-lost", "supply", state="returned")]))
    expect(page.locator(".unseen-warnings")).to_contain_text("1 alarm is over")
    assert signalled(page) == ["beep"] * 3


def test_a_browser_that_silences_the_sound_is_noticed(open_page: Open, files: str) -> None:
    feed = Feed(told())
    page = opened(open_page, files, feed)
    sound = page.get_by_role("button", name="Sound for new alarms")
    sound.click()
    expect(sound).to_have_attribute("aria-pressed", "true")
    page.evaluate("window.AudioContext.newest.state = 'suspended'")
    feed.say(told(alarm(1, "supply-low", "supply")))
    expect(page.locator(".signals")).to_contain_text("has silenced the sound of this page")
    expect(sound).to_have_attribute("aria-pressed", "false")


def test_a_notification_says_which_joint_and_what_and_permission_is_asked_on_press_alone(
    open_page: Open, files: str
) -> None:
    feed = Feed(told())
    page = opened(open_page, files, feed)
    expect(page.get_by_role("button", name="Notifications")).to_be_visible()
    assert signalled(page) == []
    page.get_by_role("button", name="Notifications").click()
    expect(page.get_by_role("button", name="Notifications")).to_have_attribute(
        "aria-pressed", "true"
    )
    assert signalled(page) == ["asked"]
    feed.say(told(alarm(1, "supply-low", "supply")))
    expect(page.locator(".unseen-warnings")).to_contain_text("wrist has alarm 1")
    assert signalled(page)[1:] == ["Unisono: wrist, medium priority: wrist has alarm 1."]


def test_who_trusts_in_signals_is_told_that_the_page_hears_nothing_any_more(
    open_page: Open, files: str
) -> None:
    feed = Feed(told())

    def before(page: Page) -> None:
        page.add_init_script(FAKES % "granted")
        feed.attach(page)

    page = open_page(files, bypass_csp=True, before=before)
    page.get_by_role("button", name="Notifications").click()
    feed.cut()
    page.wait_for_function(
        "window.signals.some((one) => one.includes('does not hear the coordinator'))",
        timeout=30_000,
    )


@pytest.mark.parametrize("answer", ["denied", "default"])
def test_a_browser_that_gives_none_is_said_to(open_page: Open, files: str, answer: str) -> None:
    page = opened(open_page, files, Feed(told()), answer)
    page.get_by_role("button", name="Notifications").click()
    expect(page.locator(".signals")).to_contain_text("told to give no notifications")
    expect(page.get_by_role("button", name="Notifications")).to_have_attribute(
        "aria-pressed", "false"
    )
