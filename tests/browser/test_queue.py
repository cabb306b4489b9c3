"""The queue on Play, with an arm that is made up: what its controls say that they do."""

import json
from dataclasses import asdict
from typing import Any

from playwright.sync_api import Page, Route, expect

from coordinator.programs.options import AS_WRITTEN
from tests.browser import canned
from tests.browser.conftest import PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well

TAUGHT: dict[str, Any] = {
    "revision": 1, "waypoints": [], "sequences": [],
    "programs": [{"id": 5, "name": "one tray", "sha256": "5" * 64}],
    "undo": None, "redo": None,
}  # fmt: skip
NAMES = ("one tray", "two trays", "park")


PLAIN = asdict(AS_WRITTEN)


def entry(number: int, state: str = "waits", run: int | None = None) -> dict[str, Any]:
    name = NAMES[number - 1]
    return {
        "id": number,
        "taught": number,
        "name": name,
        "options": PLAIN,
        "state": state,
        "run": run,
    }


def queue(*entries: dict[str, Any], **values: Any) -> dict[str, Any]:
    return {"revision": 7, "entries": list(entries), "playing": False, "message": "", **values}


def resting(told: dict[str, Any]) -> dict[str, Any]:
    """An arm at rest with this queue, in which a program is kept."""
    return canned.whole(
        run=None, phase="idle", condition=canned.condition("at rest"), taught_revision=1, queue=told
    )


def opened(open_page: Open, files: str, feed: Feed, **how: Any) -> Page:
    def before(page: Page) -> None:
        stay_new(page)
        feed.attach(page)
        page.route("**/api/v1/taught", lambda route: route.fulfill(json=TAUGHT))
        page.route("**/api/v1/taught/results", lambda route: route.fulfill(json={"runs": []}))
        page.route("**/api/v1/taught/changes?**", lambda one: one.fulfill(json={"changes": []}))
        page.route("**/programs/5/text", lambda route: route.fulfill(body="G0 A10\nM2\n"))

    return open_page(f"{files}/#play", before=before, **how)


def test_play_says_with_which_entry_it_begins_and_that_finished_ones_are_played_again(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting(queue(entry(1), entry(2))))
    page = opened(open_page, files, feed)
    section = page.get_by_role("region", name="Queue")
    play = section.get_by_role("button", name="Play queue from 1, one tray", exact=True)
    expect(play).to_have_attribute("aria-disabled", "false")
    expect(section).not_to_contain_text("played again")
    message = "the queue ended at 2 of 3, two trays: its run was stopped"
    entries = (entry(1, "finished", 3), entry(2, "ended", 4), entry(3))
    feed.say(canned.change(2, set={"queue": queue(*entries, message=message)}))
    expect(section).to_contain_text(
        "Finished ones are played again; remove them to go on behind them."
    )
    expect(section.get_by_role("status")).to_have_text(
        "The queue ended at 2 of 3, two trays: its run was stopped."
    )
    feed.say(canned.change(3, set={"queue": queue(*entries[1:], message=message)}))
    expect(
        section.get_by_role("button", name="Play queue from 1, two trays", exact=True)
    ).to_be_visible()
    expect(section).not_to_contain_text("played again")
    feed.say(canned.change(4, set={"phase": "homing"}))
    expect(section).to_contain_text("The arm is homing: the queue must wait for it.")


def test_while_another_text_stands_there_what_is_added_is_called_as_it_is_kept(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting(queue()))
    page = opened(open_page, files, feed, size=PHONE, bypass_csp=True)
    section = page.get_by_role("region", name="Queue")
    page.locator(".library li button", has_text="one tray").click()
    expect(section.get_by_role("button", name="Add one tray", exact=True)).to_be_visible()
    expect(section).not_to_contain_text("when its turn comes")
    field = page.get_by_role("textbox", name="Program")
    expect(field).to_have_value("G0 A10\nM2\n")
    field.fill("G0 A20\nM2\n")
    expect(
        section.get_by_role("button", name="Add one tray as it is kept", exact=True)
    ).to_be_visible()
    expect(section).to_contain_text("what is kept when its turn comes is played")
    looks_well(page)
    section.screenshot(path=SHOTS / "queue-changed-360.png")


def test_times_that_are_none_are_told_and_nothing_is_added(open_page: Open, files: str) -> None:
    page = opened(open_page, files, Feed(resting(queue())))
    page.locator(".library li button", has_text="one tray").click()
    section = page.get_by_role("region", name="Queue")
    times = section.get_by_label("Loops")
    times.fill("0")
    expect(section.get_by_role("alert")).to_contain_text("Loops is 0, but must be 1 to 10000")
    add = section.get_by_role("button", name="Add one tray", exact=True)
    expect(add).to_have_attribute("aria-disabled", "true")


def test_by_keyboard_an_entry_is_moved_on_and_on_and_several_are_removed(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting(queue(entry(1), entry(2), entry(3))))
    page = opened(open_page, files, feed, size=PHONE, bypass_csp=True)
    entries = [entry(1), entry(2), entry(3)]

    def edit(route: Route) -> None:
        wanted = json.loads(route.request.post_data or "{}")["edit"]
        one = next(one for one in entries if one["id"] == wanted["entry"])
        entries.remove(one)
        if wanted["type"] == "move":
            entries.insert(wanted["to"], one)
        now = queue(*entries)
        seq = 1 + len(feed.first)
        feed.say(canned.change(seq, set={"queue": now}))
        route.fulfill(json=now)

    page.route("**/api/v1/queue/edits", edit)
    section = page.get_by_role("region", name="Queue")
    section.get_by_role("button", name="Earlier park, place 3").focus()
    for place in (2, 1):
        page.keyboard.press("Enter")
        earlier = section.get_by_role("button", name=f"Earlier park, place {place}")
        expect(earlier).to_be_focused()
    looks_well(page)
    section.screenshot(path=SHOTS / "queue-360.png")
    for one, following in (("park", "one tray"), ("one tray", "two trays")):
        section.get_by_role("button", name=f"Remove {one}, place 1").focus()
        page.keyboard.press("Enter")
        expect(section.locator("li", has_text=f"1. {following}")).to_be_focused()
    for _ in range(3):
        page.keyboard.press("Tab")
    expect(section.get_by_role("button", name="Remove two trays, place 1")).to_be_focused()
    page.keyboard.press("Enter")
    expect(section.get_by_role("heading", name="Queue")).to_be_focused()


def test_a_second_entry_is_added_before_the_feed_has_told_of_the_first(
    open_page: Open, files: str
) -> None:
    page = opened(open_page, files, Feed(resting(queue())), bypass_csp=True)
    asked: list[int] = []

    def edit(route: Route) -> None:
        asked.append(json.loads(route.request.post_data or "{}")["revision"])
        route.fulfill(json=queue(entry(1)) | {"revision": asked[-1] + 1})

    page.route("**/api/v1/queue/edits", edit)
    page.locator(".library li button", has_text="one tray").click()
    add = page.get_by_role("region", name="Queue").get_by_role("button", name="Add one tray")
    for count in (1, 2):
        add.click()
        expect(page.locator(".said")).to_contain_text("one tray is queued.")
        while len(asked) < count:
            page.wait_for_timeout(10)
    assert asked == [queue()["revision"], queue()["revision"] + 1]


def test_an_entry_is_added_and_set_with_the_options_of_a_play_by_keyboard_and_says_them(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting(queue()))
    page = opened(open_page, files, feed, size=PHONE, bypass_csp=True)
    asked: list[dict[str, Any]] = []

    def edit(route: Route) -> None:
        asked.append(json.loads(route.request.post_data or "{}")["edit"])
        one = entry(1) | {"options": PLAIN | asked[-1]["options"]}
        feed.say(canned.change(1 + len(asked), set={"queue": queue(one)}))
        route.fulfill(json=queue(one))

    page.route("**/api/v1/queue/edits", edit)
    page.locator(".library li button", has_text="one tray").click()
    section = page.get_by_role("region", name="Queue")
    section.get_by_label("Loops").fill("2")
    section.get_by_label("Optional stop").press("Space")
    section.get_by_label("Block delete").press("Space")
    section.get_by_role("button", name="Add one tray", exact=True).press("Enter")
    listed = section.get_by_role("listitem")
    for words in ("2 loops", "block delete", "optional stop"):
        expect(listed).to_contain_text(words)
    expect(listed).not_to_contain_text("step by line")
    looks_well(page)
    section.screenshot(path=SHOTS / "queue-options-360.png")
    section.get_by_label("Loops").fill("1")
    section.get_by_label("Block delete").press("Space")
    section.get_by_label("From line").fill("4")
    section.get_by_role("button", name="Play as set below, one tray, place 1").press("Enter")
    expect(listed).to_contain_text("from line 4")
    for words in ("loops", "block delete"):
        expect(listed).not_to_contain_text(words)
    switched = {"optional_stop": True, "step_by_line": False}
    assert asked == [
        {"type": "add", "taught": 5, "options": {
            "loops": 2, "block_delete": True, "from_line": None, **switched}},
        {"type": "set-options", "entry": 1, "options": {
            "loops": 1, "block_delete": False, "from_line": 4, **switched}},
    ]  # fmt: skip
    section.get_by_label("From line").fill("-1")
    expect(section.get_by_role("alert")).to_contain_text("From line must be")
    add = section.get_by_role("button", name="Add one tray", exact=True)
    expect(add).to_have_attribute("aria-disabled", "true")


def test_all_entries_are_removed_once_that_was_confirmed_and_an_entry_says_why_it_ended(
    open_page: Open, files: str
) -> None:
    why = "its run was stopped: the operator asked"
    feed = Feed(resting(queue(entry(1, "ended", 3) | {"why": why}, entry(2))))
    page = opened(open_page, files, feed, size=PHONE, bypass_csp=True)
    asked: list[dict[str, Any]] = []

    def edit(route: Route) -> None:
        asked.append(json.loads(route.request.post_data or "{}")["edit"])
        feed.say(canned.change(2, set={"queue": queue()}))
        route.fulfill(json=queue())

    page.route("**/api/v1/queue/edits", edit)
    section = page.get_by_role("region", name="Queue")
    expect(section.locator("li").first).to_contain_text(why)
    section.get_by_role("button", name="Remove all…", exact=True).click()
    expect(section).to_contain_text("Remove all 2 from the queue?")
    section.get_by_role("button", name="Keep them").click()
    expect(section).not_to_contain_text("Remove all 2")
    assert asked == []
    section.get_by_role("button", name="Remove all…", exact=True).click()
    looks_well(page)
    section.get_by_role("button", name="Remove all", exact=True).click()
    expect(section).to_contain_text("Nothing is queued")
    assert asked == [{"type": "clear"}]


def test_an_entry_whose_run_is_held_is_not_said_to_be_played(open_page: Open, files: str) -> None:
    told = queue(entry(1, "plays", 7), entry(2), playing=True)
    held: dict[str, Any] = {"phase": "held", "condition": canned.condition("held")}
    feed = Feed(
        canned.whole(run=canned.run(number=7, phase="held"), queue=told, taught_revision=1, **held)
    )
    page = opened(open_page, files, feed)
    first = page.get_by_role("region", name="Queue").locator("li").first
    expect(first).to_contain_text("is held, run 7")
    feed.say(canned.change(2, set={"run": canned.run(number=7)}))
    expect(first).to_contain_text("is played, run 7")
