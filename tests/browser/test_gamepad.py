"""A gamepad jogs: which joints, how fast, and above all when no more.

The gamepad is made up, with what the W3C's Gamepad specification gives to a page: `getGamepads` and
the events of plugging in and out. Joints of the arm that is made up jog at 1.2, 9 and 30 °/s.
"""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.jogging import Gamepad, asked, jogging, resting, stays_asked, until_asked
from tests.browser.looks import looks_well

HOLD = 5
UP, DOWN, LEFT, RIGHT = 12, 13, 14, 15
NORMAL, FINE, FAST = 9.0, 1.2, 30.0
ENABLING = ".enabling"


@pytest.fixture
def feed() -> Feed:
    return Feed(resting())


@pytest.fixture
def page(open_page: Open, files: str, feed: Feed) -> Page:
    return jogging(open_page, files, feed)


def pushed(page: Page, feed: Feed) -> Gamepad:
    """A gamepad whose left stick turns the first joint at full speed."""
    pad = Gamepad(page)
    enabled(page, pad)
    pad.push(1.0, 0, HOLD)
    until_asked(page, feed, {"turntable": NORMAL})
    return pad


def enabled(page: Page, pad: Gamepad) -> None:
    """Hold the enabling button until the page has seen it: a stick pushed before moves nothing."""
    pad.push(0, 0, HOLD)
    expect(page.locator(ENABLING)).to_have_text("the sticks move the arm", timeout=60_000)


def test_the_sticks_turn_two_joints_each_as_far_as_it_is_pushed(page: Page, feed: Feed) -> None:
    pad = Gamepad(page)
    pad.push(0, 0, HOLD)
    expect(page.locator(ENABLING)).to_have_text("the sticks move the arm")
    pad.push(-1.0, 0, HOLD)
    until_asked(page, feed, {"turntable": -NORMAL})
    pad.push(-0.575, 0, HOLD)  # half of the way beyond the dead zone: a quarter of the speed
    until_asked(page, feed, {"turntable": -NORMAL / 4})
    pad.push(-1.0, 0.575, HOLD)
    until_asked(page, feed, {"turntable": -NORMAL, "shoulder": NORMAL / 4})
    pad.push(0, 0.575, HOLD)
    until_asked(page, feed, {"shoulder": NORMAL / 4})
    pad.push(0, 0, HOLD)
    until_asked(page, feed, {})


def test_a_wish_is_said_again_while_a_stick_is_pushed(page: Page, feed: Feed) -> None:
    pushed(page, feed)
    before = len(feed.wishes)
    stays_asked(page, feed, {"turntable": NORMAL}, looks=15)
    assert len(feed.wishes) > before


def test_drift_without_the_enabling_button_moves_nothing(page: Page, feed: Feed) -> None:
    pad = Gamepad(page)
    pad.push(0.3, -0.9)
    expect(page.locator(ENABLING)).to_have_text("let go: nothing moves")
    stays_asked(page, feed, {})
    pad.push(0.3, -0.9, HOLD)
    expect(page.locator(ENABLING)).to_have_text("let the stick go to its middle first")
    stays_asked(page, feed, {})
    assert feed.wishes == []


Ends = Callable[[Page, Gamepad], object]
ENDS: dict[str, Ends] = {
    "the enabling button let go": lambda _, pad: pad.push(1.0),
    "the stick let go": lambda _, pad: pad.push(0, 0, HOLD),
    "unplugged in full deflection": lambda _, pad: pad.unplug(),
    "silent without an event": lambda page, _: page.evaluate("pads[0] = null"),
    "focus lost": lambda page, _: page.evaluate("dispatchEvent(new Event('blur'))"),
    "the page not in focus, without an event": lambda page, _: page.evaluate(
        "document.hasFocus = () => false"
    ),
    "tab hidden": lambda page, _: page.evaluate("""() => {
        Object.defineProperty(document, "visibilityState", { value: "hidden" });
        document.dispatchEvent(new Event("visibilitychange", { bubbles: true }));
    }"""),
    "another page of it": lambda page, _: page.evaluate("location.hash = '#play'"),
    "jog closed": lambda page, _: page.get_by_role("button", name="Close jog").click(),
    "another pair": lambda page, _: page.get_by_role("button", name="next pair").click(),
    "another speed": lambda page, _: page.get_by_role("button", name="fine").click(),
    "steps": lambda page, _: page.get_by_role("button", name="1° a press", exact=True).click(),
}


@pytest.mark.parametrize("end", ENDS)
def test_whatever_ends_a_push_ends_it_at_once(page: Page, feed: Feed, end: str) -> None:
    pad = pushed(page, feed)
    ENDS[end](page, pad)
    until_asked(page, feed, {})
    stays_asked(page, feed, {})


@pytest.mark.parametrize("end", ["focus lost", "another pair", "another speed"])
def test_after_that_the_enabling_button_must_be_pressed_anew(
    page: Page, feed: Feed, end: str
) -> None:
    pad = pushed(page, feed)
    ENDS[end](page, pad)
    until_asked(page, feed, {})
    pad.push(0, 0, HOLD)
    pad.push(1.0, 0, HOLD)
    stays_asked(page, feed, {})
    pad.push()
    expect(page.locator(ENABLING)).not_to_have_text("the sticks move the arm", timeout=60_000)
    enabled(page, pad)
    pad.push(1.0, 0, HOLD)
    name = "elbow" if end == "another pair" else "turntable"
    until_asked(page, feed, {name: FINE if end == "another speed" else NORMAL})


def test_a_push_that_is_refused_ends_and_is_told(page: Page, feed: Feed) -> None:
    pushed(page, feed)
    said = "the terminal of ann commands motion; take control first"
    number = feed.wishes[-1]["number"]
    feed.say({"type": "refused", "number": number, "code": "control", "message": said})
    expect(page.locator(".said")).to_contain_text("commands motion; take control first")
    before = len(feed.wishes)
    stays_asked(page, feed, {"turntable": NORMAL})  # nothing was said since: it expires
    assert len(feed.wishes) == before


def test_another_gamepad_with_its_button_held_does_not_go_on(page: Page, feed: Feed) -> None:
    pushed(page, feed)
    other = Gamepad(page, index=1)
    other.push(1.0, 0, HOLD)
    page.evaluate("pads[0] = null")
    until_asked(page, feed, {})
    stays_asked(page, feed, {})


def test_a_gamepad_that_comes_back_at_once_does_not_go_on(page: Page, feed: Feed) -> None:
    pushed(page, feed)
    page.evaluate(f"""() => {{
        unplug(0);
        plug(0, "standard");
        pushes(0, 1, 0, [{HOLD}]);
    }}""")
    until_asked(page, feed, {})
    stays_asked(page, feed, {})


def test_nothing_moves_by_it_while_jog_is_closed_or_a_program_is_there(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting())
    page = jogging(open_page, files, feed)
    page.get_by_role("button", name="Close jog").click()
    pad = Gamepad(page)
    pad.push(0, 0, HOLD)
    pad.push(1.0, 0, HOLD)
    stays_asked(page, feed, {})
    page.get_by_role("button", name="Jog…").click()
    feed.say(canned.change(2, set={"run": canned.run(phase="held"), "phase": "held"}))
    expect(page.locator(".jogbar")).to_have_count(0)
    pad.push()
    pad.push(0, 0, HOLD)
    pad.push(1.0, 0, HOLD)
    stays_asked(page, feed, {})
    assert feed.wishes == []


@pytest.mark.parametrize("by", ["cluster", "page"])
def test_the_next_pair_of_joints_is_shown_and_turned(page: Page, feed: Feed, by: str) -> None:
    pad = Gamepad(page)
    left, right = page.get_by_label("left stick"), page.get_by_label("right stick")
    expect(left).to_have_value("turntable")
    expect(right).to_have_value("shoulder")
    if by == "cluster":
        pad.push(0, 0, RIGHT)
        pad.push()
    else:
        page.get_by_role("button", name="next pair").click()
    expect(left).to_have_value("elbow")
    expect(right).to_have_value("forearm")
    expect(page.get_by_role("group", name="Jog elbow")).to_contain_text("left stick")
    expect(page.get_by_role("group", name="Jog forearm")).to_contain_text("right stick")
    expect(page.get_by_role("group", name="Jog turntable")).not_to_contain_text("stick")
    pad.push()
    pad.push(0, 0, HOLD)
    pad.push(0, 1.0, HOLD)
    until_asked(page, feed, {"forearm": NORMAL})
    if by == "cluster":
        pad.push(0, 1.0, HOLD, LEFT)  # while it turns: that is let go, and the pair is another
        until_asked(page, feed, {})
        expect(left).to_have_value("turntable")


def test_any_joint_is_chosen_for_a_stick_and_no_joint_for_two(page: Page, feed: Feed) -> None:
    pad = Gamepad(page)
    left, right = page.get_by_label("left stick"), page.get_by_label("right stick")
    left.select_option("tool")
    right.select_option("tool")
    expect(left).to_have_value("")
    pad.push()
    pad.push(0, 0, HOLD)
    pad.push(1.0, -1.0, HOLD)
    until_asked(page, feed, {"tool": -NORMAL})


def test_speeds_are_those_of_the_page(page: Page, feed: Feed) -> None:
    pad = Gamepad(page)
    for button, word, speed in ((UP, "fast", FAST), (DOWN, "normal", NORMAL), (DOWN, "fine", FINE)):
        pad.push(0, 0, button)
        pad.push()
        expect(page.get_by_role("button", name=word)).to_have_attribute("aria-pressed", "true")
        pad.push(0, 0, HOLD)
        pad.push(-1.0, 0, HOLD)
        until_asked(page, feed, {"turntable": -speed})
        pad.push()
        until_asked(page, feed, {})


def test_by_steps_a_far_push_is_one_step(page: Page, feed: Feed) -> None:
    page.get_by_role("button", name="0.1° a press").click()
    pad = Gamepad(page)
    pad.push(0, 0, HOLD)
    for _ in range(2):
        pad.push(0, -1.0, HOLD)
        pad.push(0, -1.0, HOLD)
        pad.push(0, 0, HOLD)
    stays = [(one["type"], one["joint"], one["by_deg"], one["speed_deg_s"]) for one in feed.wishes]
    assert stays == [("step", "shoulder", -0.1, NORMAL)] * 2


def test_a_gamepad_of_another_mapping_is_refused_in_a_sentence(page: Page, feed: Feed) -> None:
    pad = Gamepad(page, mapping="")
    expect(page.locator(".jogbar")).to_contain_text("This gamepad is not used: its sticks")
    pad.push(0, 0, HOLD)
    pad.push(1.0, 0, HOLD)
    stays_asked(page, feed, {})
    Gamepad(page, index=1)
    expect(page.locator(".jogbar")).not_to_contain_text("is not used")


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_which_stick_turns_which_joint_can_be_read_by_everybody(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    feed = Feed(resting())
    page = jogging(open_page, files, feed, size)
    looks_well(page)
    Gamepad(page).push(0, 0, HOLD)
    expect(page.locator(ENABLING)).to_have_text("the sticks move the arm")
    looks_well(page)
    page.screenshot(path=SHOTS / f"gamepad-{size['width']}.png", full_page=True)
    assert asked(feed) == {}
