"""Hold, Stop and Resume: in reach on every page, apart, and Resume by no slip."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, Feed, Open, stay_new
from tests.browser.test_every_hand import REPORT
from tests.browser.test_gone import held_still

LEAST_PX = 48
"""More than WCAG 2.2 asks of a target (2.5.5, 44), since it is pressed in haste."""
NAMES = ("Hold", "Stop", "Resume")


def held(**values: Any) -> dict[str, Any]:
    """An arm that was told to hold."""
    told = canned.whole(
        run=canned.run(phase="held", behind_us={}),
        phase="held",
        condition=canned.condition("held", "held by the operator"),
        control={"holder": "me", "name": "a page", "watchers": 1},
        **values,
    )
    for joint in told["state"]["joints"]:
        joint |= {"state": "held", "velocity_deg_s": 0.0}
    return told


def button(page: Page, name: str) -> Any:
    return page.get_by_role("button", name=name, exact=True)


def boxes(page: Page) -> dict[str, Any]:
    """Where the three are."""
    return {name: button(page, name).bounding_box() for name in NAMES}


def asked_for(page: Page, path: str) -> list[str]:
    """What is posted there."""
    asked: list[str] = []

    def answer(route: Route) -> None:
        asked.append(route.request.url)
        route.fulfill(json={"phase": "idle"})

    page.route(f"**/api/v1{path}", answer)
    return asked


_ON_TOP = """(element) => {
    const box = element.getBoundingClientRect();
    const ends = [[.02, .5], [.98, .5], [.5, .05], [.5, .95], [.5, .5]];
    return ends.every(([x, y]) => element.contains(
        document.elementFromPoint(box.x + x * box.width, box.y + y * box.height)));
}"""


def in_reach(page: Page, size: dict[str, int]) -> None:
    """Hold and Stop are whole, on top of all else, high enough, and at the bottom edge."""
    for name in ("Hold", "Stop"):
        one = button(page, name)
        expect(one).to_be_in_viewport(ratio=1)
        expect(one).to_be_enabled()
        assert one.evaluate(_ON_TOP), name
        box = one.bounding_box()
        assert box["height"] >= LEAST_PX
        assert size["height"] - box["y"] - box["height"] < 60
    expect(page.get_by_text("A software stop. Not an emergency stop.")).to_be_in_viewport(ratio=1)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_hold_and_stop_are_in_reach_on_every_page_however_far_one_scrolls(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    homing = canned.whole(
        run=None, phase="homing", condition=canned.condition("homing", "elbow"),
        homing={"number": 1, "state": "running", "current": "elbow", "asked": ["elbow"],
                "joints": {}, "message": ""},
    )  # fmt: skip
    feed = Feed(canned.whole(24))

    def before(page: Page) -> None:
        feed.attach(page)
        stay_new(page)
        page.route("**/api/v1/runs**", lambda route: route.fulfill(json={"runs": []}))
        page.route("**/api/v1/runs/3/report", lambda route: route.fulfill(json=REPORT))
        page.route("**/api/v1/stop", lambda route: route.abort())

    page = open_page(files, size=size, before=before)
    for view in ("watch", "play", "records"):
        page.evaluate("(view) => { location.hash = view; }", view)
        expect(page.locator("nav a[aria-current]")).to_have_attribute("href", f"#{view}")
        in_reach(page, size)
        page.evaluate("() => scrollTo(0, document.body.scrollHeight)")
        in_reach(page, size)
        # What stands last on the page is not under the bar either.
        last = page.locator("main > :last-child").bounding_box()
        hold = button(page, "Hold").bounding_box()
        assert last is not None
        assert last["y"] + last["height"] < hold["y"]
    button(page, "Stop").click()
    expect(page.locator(".said")).to_contain_text("The stop was not delivered")
    button(page, "Motors off…").click()
    in_reach(page, size)
    feed.say(homing)
    expect(page.locator(".sign")).to_contain_text("homing")
    in_reach(page, size)


def test_a_keyboard_on_the_screen_does_not_cover_the_bar(open_page: Open, files: str) -> None:
    # As a browser tells it that leaves the page as it is and covers its lower part.
    def before(page: Page) -> None:
        Feed(canned.whole()).attach(page)
        page.add_init_script(
            """const seen = new EventTarget();
            Object.assign(seen, { height: innerHeight, offsetTop: 0, scale: 1 });
            Object.defineProperty(window, "visualViewport", { value: seen });
            window.cover = (px) => {
                seen.height = innerHeight - px;
                seen.dispatchEvent(new Event("resize"));
            };"""
        )

    page = open_page(f"{files}/#play", size=PHONE, before=before)
    bar = page.locator(".commands")
    bar.wait_for()
    page.evaluate("() => window.cover(300)")
    box = bar.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] == PHONE["height"] - 300
    page.evaluate("() => window.cover(0)")
    box = bar.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] == PHONE["height"]


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_hold_and_resume_are_apart_and_never_change_places(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    feed = Feed(canned.whole())

    def before(page: Page) -> None:
        feed.attach(page)
        stay_new(page)

    page = open_page(files, size=size, before=before)
    expect(page.locator(".sign")).to_contain_text("moving")
    moving = boxes(page)
    hold, stop, resume = (moving[name] for name in NAMES)
    assert hold["x"] + hold["width"] < stop["x"]
    assert stop["x"] + stop["width"] < resume["x"]
    feed.say(held())
    expect(page.locator(".sign")).to_contain_text("held")
    expect(page.locator("#resumes")).to_contain_text("goes on at line 42, and all 6 joints may")
    assert boxes(page) == moving


@pytest.fixture
def resting(open_page: Open, files: str) -> tuple[Page, list[str]]:
    """A page of an arm that is held, whose time stands; what it asks to resume."""
    feed = Feed(held())

    def before(page: Page) -> None:
        held_still(page)
        stay_new(page)  # only its timers go on
        feed.attach(page)

    page = open_page(files, before=before)
    expect(button(page, "Resume")).to_be_enabled()
    page.clock.run_for(100)  # what follows a render waits for a frame
    return page, asked_for(page, "/resume")


def press_mouse(page: Page) -> None:
    button(page, "Resume").hover()
    page.mouse.down()


def press_key(page: Page) -> None:
    button(page, "Resume").focus()
    page.keyboard.down("Enter")


PRESSES = pytest.mark.parametrize(
    ("press", "let_go"),
    [
        (press_mouse, lambda page: page.mouse.up()),
        (press_key, lambda page: page.keyboard.up("Enter")),
    ],
    ids=["mouse", "keyboard"],
)


@PRESSES
def test_resume_goes_out_once_it_was_pressed_for_a_second(
    resting: tuple[Page, list[str]],
    press: Callable[[Page], None],
    let_go: Callable[[Page], None],
) -> None:
    page, asked = resting
    press(page)
    page.clock.run_for(999)
    expect(page.locator(".resuming.going .filling")).to_have_count(1)
    assert asked == []
    with page.expect_request("**/api/v1/resume"):
        page.clock.run_for(1)
    let_go(page)
    page.clock.run_for(2000)
    assert len(asked) == 1
    expect(button(page, "Resume now")).to_have_count(0)


@PRESSES
def test_a_short_press_resumes_nothing_and_asks(
    resting: tuple[Page, list[str]],
    press: Callable[[Page], None],
    let_go: Callable[[Page], None],
) -> None:
    page, asked = resting
    for _ in range(2):
        press(page)
        page.clock.run_for(400)
        let_go(page)
        page.clock.run_for(1000)
    assert asked == []
    expect(page.get_by_text("Keep Resume pressed for a second")).to_be_visible()


def test_a_press_that_slides_off_the_button_resumes_nothing(
    resting: tuple[Page, list[str]],
) -> None:
    page, asked = resting
    press_mouse(page)
    button(page, "Stop").hover()
    page.clock.run_for(2000)
    page.mouse.up()
    assert asked == []


def test_a_screen_readers_click_which_lasts_no_time_is_confirmed(
    resting: tuple[Page, list[str]],
) -> None:
    page, asked = resting
    button(page, "Resume").evaluate("(element) => element.click()")
    page.clock.run_for(100)
    assert asked == []
    with page.expect_request("**/api/v1/resume"):
        button(page, "Resume now").click()


@pytest.mark.parametrize(
    ("told", "role", "why"),
    [
        (canned.whole(run=None, phase="idle", condition=canned.condition("at rest")), "operate",
         "nothing is held."),
        (held(), "watch", "this page may watch, hold and stop."),
    ],
    ids=["nothing", "watching"],
)  # fmt: skip
def test_a_resume_that_cannot_be_says_why(
    open_page: Open, files: str, told: dict[str, Any], role: str, why: str
) -> None:
    def before(page: Page) -> None:
        Feed(told).attach(page)
        stay_new(page)
        page.route("**/api/v1/session", lambda route: route.fulfill(json={"role": role}))

    page = open_page(files, before=before)
    expect(button(page, "Resume")).to_be_disabled()
    expect(page.locator("#resumes")).to_have_text(f"No resume: {why}")
    expect(button(page, "Resume")).to_have_accessible_description(f"No resume: {why}")


def test_a_joint_that_is_offline_or_another_who_commands_keeps_from_resuming_and_is_named(
    open_page: Open, files: str
) -> None:
    away, theirs = held(), held()
    # Why is the coordinator's word, whatever the joints tell of themselves.
    away["state"]["run"]["obstacle"] = {
        "code": "joint-offline", "message": "elbow is offline: not found on the network",
    }  # fmt: skip
    theirs["state"]["control"] = {"holder": "them", "name": "a phone", "watchers": 2}
    feed = Feed(away)

    def before(page: Page) -> None:
        feed.attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    why = page.locator("#resumes")
    expect(why).to_have_text("No resume: elbow is offline: not found on the network.")
    expect(button(page, "Resume")).to_be_disabled()
    feed.say(theirs)
    expect(why).to_contain_text("a phone commands; take over first")
    expect(button(page, "Take over")).to_be_visible()


@pytest.mark.parametrize(
    ("name", "told"),
    [("Hold", "The hold was not delivered."), ("Stop", "The stop was not delivered.")],
)
def test_hold_and_stop_can_be_pressed_while_the_coordinator_is_gone_and_say_what_became_of_it(
    open_page: Open, files: str, name: str, told: str
) -> None:
    feed = Feed(canned.whole())

    def before(page: Page) -> None:
        held_still(page)
        feed.attach(page)
        page.route(f"**/api/v1/{name.lower()}", lambda route: route.abort())

    page = open_page(files, before=before)
    page.locator(".lane").nth(5).wait_for()
    feed.cut()
    expect(page.locator(".sign")).to_contain_text("not known")
    expect(button(page, name)).to_be_enabled()
    button(page, name).click()
    expect(page.locator(".said")).to_contain_text(told)
    expect(button(page, "Resume")).to_be_disabled()
