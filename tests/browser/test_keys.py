"""The list of keys: what the page obeys and nothing else, and no hindrance to Hold and Stop."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from coordinator.web import WEB
from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.jogging import Gamepad, asked, jogging, resting, stays_asked, until_asked
from tests.browser.looks import looks_well
from tests.browser.test_people import asked_of

NORMAL = 9.0
SHOWN = {
    " ": "Space", "ArrowLeft": "←", "ArrowRight": "→", "ArrowUp": "↑", "ArrowDown": "↓",
    "Escape": "Esc",
}  # fmt: skip


@pytest.fixture
def feed() -> Feed:
    return Feed(resting())


@pytest.fixture
def page(open_page: Open, files: str, feed: Feed) -> Page:
    return jogging(open_page, files, feed)


def table(page: Page) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate("async () => (await import('/app/keys.js')).KEYS")
    return found


def test_no_handler_knows_a_key_that_the_table_does_not_and_every_row_has_one(page: Page) -> None:
    sources = {path.name: path.read_text(encoding="utf-8") for path in (WEB / "app").glob("*.js")}
    del sources["keys.js"]
    asked_for = set()
    for name, source in sources.items():
        # A key by its name, compared or looked up.
        assert not re.search(r"\.key\s*[!=]==?\s*[\"'`]", source), name
        assert not re.search(r"\bevent\.(keyCode|which|charCode|code)\b", source), name
        assert not re.search(r"\[event\.key\]|\(event\.key\)|switch \(\w+\.key\)", source), name
        asked_for |= set(re.findall(r"isKey\(\"(\w+)\"", source))
    assert asked_for == set(table(page))


def test_the_list_shows_every_row_of_the_table(page: Page) -> None:
    page.keyboard.press("?")
    rows = page.get_by_role("dialog", name="Keys").locator("dl > div")
    expected = [
        f"{' or '.join(SHOWN.get(key, key) for key in row['keys'])}{row['where']}: {row['does']}"
        for row in table(page).values()
    ]
    texts = [re.sub(r"\s+", " ", text).strip() for text in rows.all_text_contents()]
    assert texts == expected


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_it_can_be_read_by_everybody_and_hold_and_stop_stay_in_reach(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    page = jogging(open_page, files, Feed(resting()), size)
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog", name="Keys")
    expect(dialog).to_be_visible()
    looks_well(page)
    page.screenshot(path=SHOTS / f"keys-{size['width']}.png")
    box, band = dialog.bounding_box(), page.locator(".band").bounding_box()
    assert box is not None
    assert band is not None
    assert box["y"] >= band["y"] + band["height"]
    holds = asked_of(page, "/hold", json={})
    stops = asked_of(page, "/stop", json={})
    page.get_by_role("button", name="Hold", exact=True).click()
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator(".said")).to_contain_text("Stop is sent")
    assert (holds, stops) == (["POST"], ["POST"])


@pytest.mark.parametrize("by", ["?", "Escape", "Close", "button"])
def test_focus_goes_into_it_and_back_to_where_it_was(page: Page, by: str) -> None:
    button = page.get_by_role("button", name="Keys ?")
    before = button if by == "button" else page.get_by_role("button", name="fine")
    before.focus()
    if by == "button":
        page.keyboard.press("Enter")
    else:
        page.keyboard.press("?")
    dialog = page.get_by_role("dialog", name="Keys")
    expect(dialog.get_by_role("heading")).to_be_focused()
    if by == "Close":
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
    elif by == "button":
        button.click()
    else:
        page.keyboard.press(by)
    expect(dialog).to_have_count(0)
    expect(before).to_be_focused()


def test_where_the_focus_was_is_there_no_more_it_goes_to_the_main_part(
    page: Page, feed: Feed
) -> None:
    page.get_by_role("button", name="fine").focus()
    page.keyboard.press("?")
    feed.say(canned.change(2, set={"run": canned.run(phase="held"), "phase": "held"}))
    expect(page.locator(".jogbar")).to_have_count(0)
    page.keyboard.press("Escape")
    expect(page.locator("main")).to_be_focused()


@pytest.mark.parametrize("kind", ["key", "pointer", "gamepad"])
def test_a_jog_ends_as_it_opens_and_none_begins_by_a_gamepad(
    page: Page, feed: Feed, kind: str
) -> None:
    control = page.get_by_role("button", name="turntable to larger angles")
    if kind == "key":
        control.focus()
        page.keyboard.down("ArrowRight")
    elif kind == "pointer":
        # As in browsers in which a press of a button does not bring the focus to it.
        page.evaluate("addEventListener('mousedown', (event) => event.preventDefault(), true)")
        control.hover()
        page.mouse.down()
    else:
        pad = Gamepad(page)
        pad.push(0, 0, 4)
        pad.push(1.0, 0, 4)
    until_asked(page, feed, {"turntable": NORMAL})
    page.keyboard.press("?")
    until_asked(page, feed, {})
    stays_asked(page, feed, {})
    if kind == "gamepad":
        pad.push()
        pad.push(0, 0, 4)
        pad.push(1.0, 0, 4)
        stays_asked(page, feed, {})


def test_in_a_text_it_is_a_letter_and_it_can_be_turned_off(page: Page, feed: Feed) -> None:
    dialog = page.get_by_role("dialog", name="Keys")
    page.evaluate("location.hash = '#play'")
    program = page.get_by_role("textbox", name="Program")
    program.fill("")
    program.press("?")
    expect(program).to_have_value("?")
    expect(dialog).to_have_count(0)
    page.get_by_role("button", name="Keys ?").click()
    dialog.get_by_role("checkbox", name="? opens it").uncheck()
    page.keyboard.press("Escape")
    page.reload()
    page.get_by_role("link", name="Watch").press("?")
    page.get_by_role("button", name="Keys ?").click()
    expect(dialog).to_have_count(1)
    dialog.get_by_role("checkbox", name="? opens it").check()
    page.keyboard.press("?")
    expect(dialog).to_have_count(0)
    assert asked(feed) == {}
