"""The slider that springs back: pushed further it turns faster, let go it stops.

Joints of the arm that is made up jog at 1.2, 9 and 30 °/s; the dead zone is 15 % of the way, and
beyond it the speed grows evenly, from 2 % on.
"""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import CDPSession, Locator, Page, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.jogging import asked, jogging, resting, stays_asked, until_asked
from tests.browser.looks import looks_well

NORMAL, FAST = 9.0, 30.0


@pytest.fixture
def feed() -> Feed:
    return Feed(resting())


@pytest.fixture
def page(open_page: Open, files: str, feed: Feed) -> Page:
    return jogging(open_page, files, feed)


def slider(page: Page, name: str = "elbow") -> Locator:
    return page.get_by_role("slider", name=f"Push {name}")


def middle(element: Locator) -> tuple[float, float, float]:
    """Its middle and half its width."""
    element.evaluate("element => element.scrollIntoView({block: 'center'})")
    box = element.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, box["width"] / 2


def grab(page: Page, way: float = 0.0) -> tuple[float, float, float]:
    """Press the mouse on it, and pull it by so much of its way."""
    x, y, half = middle(slider(page))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + way * half, y)
    return x, y, half


def springs_back(page: Page) -> None:
    expect(slider(page)).to_have_attribute("aria-valuenow", "0")
    thumb, track = slider(page).locator(".thumb").bounding_box(), slider(page).bounding_box()
    assert thumb is not None
    assert track is not None
    middles = (thumb["x"] + thumb["width"] / 2, track["x"] + track["width"] / 2)
    assert middles[0] == pytest.approx(middles[1], abs=1)


def near(feed: Feed, page: Page, speed: float) -> None:
    """The elbow alone is asked to turn that fast, to 3 %: a pointer stands on whole pixels."""
    for _ in range(500):
        page.evaluate("new Promise((done) => setTimeout(done, 5))")
        if asked(feed) == {"elbow": pytest.approx(speed, rel=0.03)}:
            return
    raise AssertionError(f"{asked(feed)}, not {speed} of the elbow")


def test_further_is_faster_up_to_the_chosen_speed_and_let_go_it_stops(
    page: Page, feed: Feed
) -> None:
    x, y, half = grab(page, 0.575)
    near(feed, page, NORMAL / 2)
    expect(slider(page)).to_have_attribute(
        "aria-valuetext", re.compile("5[78] % towards larger angles")
    )
    page.mouse.move(x + half, y)
    near(feed, page, NORMAL)
    page.mouse.move(x + 3 * half, y)
    near(feed, page, NORMAL)
    page.mouse.move(x - 0.575 * half, y)
    near(feed, page, -NORMAL / 2)
    page.mouse.move(x, y)
    until_asked(page, feed, {})
    page.mouse.move(x + half, y)
    near(feed, page, NORMAL)
    page.mouse.up()
    until_asked(page, feed, {})
    springs_back(page)
    stays_asked(page, feed, {})


def test_the_chosen_speed_is_its_most(page: Page, feed: Feed) -> None:
    page.get_by_role("button", name="fast").click()
    grab(page, -1.0)
    near(feed, page, -FAST)


def test_a_press_where_it_is_not_pulled_moves_nothing(page: Page, feed: Feed) -> None:
    x, y, half = middle(slider(page))
    page.mouse.move(x + 0.9 * half, y)
    page.mouse.down()
    page.mouse.move(x + 0.95 * half, y)
    stays_asked(page, feed, {})
    page.mouse.up()
    assert feed.wishes == []


Touch = Callable[[str, float, float], None]


def toucher(session: CDPSession) -> Touch:
    def touch(kind: str, x: float, y: float) -> None:
        points = [] if kind == "touchEnd" else [{"x": x, "y": y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    return touch


def test_a_finger_pushes_it_and_scrolling_over_it_moves_nothing(
    open_page: Open, files: str
) -> None:
    feed = Feed(resting())
    page = jogging(open_page, files, feed, PHONE, touch=True)
    touch = toucher(page.context.new_cdp_session(page))
    x, y, half = middle(slider(page))
    touch("touchStart", x, y)
    for share in (0.2, 0.5, 1.0):
        touch("touchMove", x + share * half, y)
    near(feed, page, NORMAL)
    touch("touchEnd", x, y)
    until_asked(page, feed, {})
    springs_back(page)
    said, before = len(feed.wishes), page.evaluate("scrollY")
    touch("touchStart", x, y)
    for down in range(10, 130, 10):
        touch("touchMove", x + 2, y - down)
    page.wait_for_function("(before) => scrollY !== before", arg=before)
    touch("touchEnd", x, y)
    stays_asked(page, feed, {})
    assert len(feed.wishes) == said


def test_a_key_pushes_it_further_the_longer_it_is_held(page: Page, feed: Feed) -> None:
    slider(page).focus()
    page.keyboard.down("ArrowLeft")
    # A fifth of the way first: 5/85 of the speed.
    near(feed, page, -NORMAL * 5 / 85)
    for _ in range(25):
        page.keyboard.down("ArrowLeft")  # it repeats
    near(feed, page, -NORMAL)
    page.keyboard.up("ArrowLeft")
    until_asked(page, feed, {})
    springs_back(page)
    page.keyboard.down("ArrowUp")
    near(feed, page, NORMAL * 5 / 85)
    page.keyboard.down("ArrowLeft")  # two at once: neither is meant
    until_asked(page, feed, {})
    page.keyboard.up("ArrowLeft")
    page.keyboard.up("ArrowUp")
    stays_asked(page, feed, {})


ENDS: dict[str, Callable[[Page, Feed], object]] = {
    "focus of the window": lambda page, _: page.evaluate("dispatchEvent(new Event('blur'))"),
    "refused": lambda _, feed: feed.say(
        {"type": "refused", "number": 1, "code": "jogging", "message": "the wrist is jogged"}
    ),
    "its joint offline": lambda _, feed: feed.say(
        canned.change(2, joints={"elbow": {"link": "offline"}})
    ),
    "capture lost": lambda page, _: slider(page).dispatch_event("lostpointercapture"),
    "another page": lambda page, _: page.evaluate("location.hash = '#play'"),
    "a program": lambda _, feed: feed.say(
        canned.change(2, set={"run": canned.run(phase="held"), "phase": "held"})
    ),
}


@pytest.mark.parametrize("end", ENDS)
def test_what_else_ends_it_has_it_spring_back_and_it_must_be_pressed_anew(
    page: Page, feed: Feed, end: str
) -> None:
    x, y, half = grab(page, 1.0)
    near(feed, page, NORMAL)
    ENDS[end](page, feed)
    if end == "refused":
        expect(page.locator(".said")).to_contain_text("The wrist is jogged")
    else:
        until_asked(page, feed, {})
    said = len(feed.wishes)
    if end not in ("another page", "a program"):
        springs_back(page)
    page.mouse.move(x + 0.5 * half, y)
    page.mouse.move(x + 0.9 * half, y)
    for _ in range(5):
        page.evaluate("new Promise((done) => setTimeout(done, 20))")
    assert len(feed.wishes) == said


def test_a_button_held_while_its_joint_goes_offline_is_let_go(page: Page, feed: Feed) -> None:
    page.get_by_role("button", name="elbow to larger angles").hover()
    page.mouse.down()
    until_asked(page, feed, {"elbow": NORMAL})
    feed.say(canned.change(2, joints={"elbow": {"link": "offline"}}))
    until_asked(page, feed, {})
    feed.say(canned.change(3, joints={"elbow": {"link": "up"}}))
    stays_asked(page, feed, {})


def test_joints_that_are_not_heard_are_not_pushed(page: Page, feed: Feed) -> None:
    feed.say(canned.change(2, joints={"elbow": {"link": "offline"}}))
    expect(slider(page)).to_have_attribute("aria-disabled", "true")
    grab(page, 1.0)
    page.mouse.up()
    slider(page).focus()
    page.keyboard.down("ArrowRight")
    stays_asked(page, feed, {})
    assert feed.wishes == []


def test_by_steps_there_is_none(page: Page) -> None:
    page.get_by_role("button", name="1° a press", exact=True).click()
    expect(page.get_by_role("slider")).to_have_count(0)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_it_is_for_every_hand_and_never_under_hold_and_stop(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    page = jogging(open_page, files, Feed(resting()), size)
    looks_well(page)
    page.get_by_role("button", name="Close jog").focus()
    for name in canned.NAMES:
        one = slider(page, name)
        for _ in range(40):
            page.keyboard.press("Tab")
            if one.evaluate("element => element === document.activeElement"):
                break
        expect(one).to_be_focused()
        box, bar = one.bounding_box(), page.locator(".commands").bounding_box()
        assert box is not None
        assert bar is not None
        assert box["height"] >= 48
        assert box["width"] >= 200
        assert box["y"] + box["height"] <= bar["y"]
    grab(page, 0.5)
    page.screenshot(path=SHOTS / f"slider-{size['width']}.png")
