"""Homing on the page: what each joint will do before it is let, and a control that is held."""

import re
from functools import partial
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.hands import Finger, Keys, Mouse
from tests.browser.looks import looks_well
from tests.e2e.harness import Bench, bench, until

PATIENCE_MS = 60_000
REST: dict[str, Any] = {"run": None, "phase": "idle", "condition": canned.condition("at rest")}
UNHOMED = [
    canned.homing_way("tool", angle_known=False, on_sensor=True, searches="larger"),
    canned.homing_way("wrist", angle_known=False, may_collide="the tray, and the lamp above it"),
    canned.homing_way("elbow"),
]


def card_of(page: Page) -> Locator:
    """Joint by joint."""
    return page.get_by_role("region", name="Homing", exact=True)


def opened(open_page: Open, files: str, feed: Feed, **how: Any) -> Page:
    """The page before an arm that is made up."""

    def before(page: Page) -> None:
        stay_new(page)
        feed.attach(page)

    page: Page = open_page(files, before=before, bypass_csp=True, **how)
    return page


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_ways_of_joints_are_told_in_the_order_of_homing_with_what_they_may_run_into(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    page = opened(open_page, files, Feed(canned.whole(homing_ways=UNHOMED, **REST)), size=size)
    card = card_of(page)
    expect(card.locator(".what strong")).to_have_text(["tool", "wrist", "elbow"])
    expect(card.locator(".what .small")).to_have_text(
        ["angle not known", "angle not known", "homed"]
    )
    tool, wrist, elbow = (card.locator("li").nth(k) for k in range(3))
    expect(tool).to_contain_text("Turns towards larger angles")
    expect(tool).to_contain_text("It stands on its home sensor, so it first turns towards smaller")
    expect(tool).to_contain_text("What it may run into is not stated in the arm file")
    expect(wrist).to_contain_text("by at most 260° from where it stands")
    expect(wrist).to_contain_text("It may run into the tray, and the lamp above it.")
    expect(wrist).to_contain_text("Where it stands is not known.")
    expect(elbow).not_to_contain_text("Where it stands is not known.")
    expect(card).to_contain_text("Nothing here knows what stands in a joint's way")
    expect(page.get_by_role("button", name="Home all joints")).to_have_count(0)
    looks_well(page)
    page.screenshot(path=SHOTS / f"homing-{size['width']}.png", full_page=True)


def test_each_joint_is_let_by_its_own_button_and_none_while_another_homes(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole(homing_ways=UNHOMED, **REST))
    page = opened(open_page, files, feed)
    asked: list[Any] = []

    def home(route: Any) -> None:
        asked.append(route.request.post_data_json)
        route.fulfill(status=202, json={"homing": 4})

    page.route("**/api/v1/home", home)
    card = card_of(page)
    card.get_by_role("button", name="Home wrist").click()
    until(lambda: page.evaluate("0") or bool(asked), "the wrist is asked for")
    assert asked == [{"joints": ["wrist"]}]
    homing = {"number": 4, "state": "running", "current": "wrist", "asked": ["wrist"], "joints": {},
              "message": "", "held": False}  # fmt: skip
    feed.say(canned.change(2, set={"phase": "homing", "homing": homing}))
    expect(card.locator("li").nth(1)).to_contain_text("homing")
    for name in ("tool", "wrist", "elbow"):
        expect(card.get_by_role("button", name=f"Home {name}")).to_have_attribute(
            "aria-disabled", "true"
        )
    known = [{**way, "angle_known": True} for way in UNHOMED]
    done = {**homing, "state": "done", "current": None}
    feed.say(canned.change(3, set={"phase": "idle", "homing": done, "homing_ways": known}))
    expect(card).to_have_count(0)
    expect(page.get_by_role("button", name="Home all joints")).to_be_visible()


def heard(page: Page, feed: Feed) -> int:
    """How many wishes came; what comes is taken in while the page is asked for something."""
    page.evaluate("0")
    return len(feed.wishes)


def wishes(feed: Feed) -> list[dict[str, Any]]:
    """Without number and time."""
    return [{k: v for k, v in one.items() if k not in ("number", "at_us")} for one in feed.wishes]


def test_a_control_that_is_held_is_said_until_the_joint_is_homed(
    open_page: Open, files: str
) -> None:
    feed = Feed(canned.whole(homing_ways=UNHOMED, homing_while_held=True, **REST))
    page = opened(open_page, files, feed)
    control = card_of(page).get_by_role("button", name="Hold to home wrist")
    control.hover()
    page.mouse.down()
    expect(control).to_have_class(re.compile("held"))
    until(lambda: heard(page, feed) > 3, "it is said again")
    assert wishes(feed)[0] == {"type": "home", "joint": "wrist"}
    homing = {"number": 4, "state": "running", "current": "wrist", "asked": ["wrist"], "joints": {},
              "message": "", "held": True}  # fmt: skip
    feed.say(canned.change(2, set={"phase": "homing", "homing": homing}))
    expect(control).to_have_class(re.compile("held"))
    done = {**homing, "state": "done", "current": None}
    feed.say(canned.change(3, set={"phase": "idle", "homing": done}))
    expect(control).not_to_have_class(re.compile("held"))
    assert wishes(feed)[-1] == {"type": "jog", "velocities_deg_s": {}}
    page.mouse.up()
    # Long enough for a few more, were they said: the page's own clock tells when.
    said = heard(page, feed)
    page.evaluate("new Promise((done) => setTimeout(done, 300))")
    assert heard(page, feed) == said


@pytest.mark.parametrize("by", ["mouse", "blur"])
def test_a_control_that_is_let_go_says_so_at_once(open_page: Open, files: str, by: str) -> None:
    feed = Feed(canned.whole(homing_ways=UNHOMED, homing_while_held=True, **REST))
    page = opened(open_page, files, feed)
    control = card_of(page).get_by_role("button", name="Hold to home tool")
    control.hover()
    page.mouse.down()
    until(lambda: heard(page, feed) > 0, "it is said")
    if by == "mouse":
        page.mouse.up()
    else:
        page.evaluate("dispatchEvent(new Event('blur'))")
    expect(control).not_to_have_class(re.compile("held"))
    assert wishes(feed)[-1] == {"type": "jog", "velocities_deg_s": {}}


def test_joints_that_are_homed_are_homed_anew_one_by_one_where_a_hand_is_to_hold(
    open_page: Open, files: str
) -> None:
    page = opened(open_page, files, Feed(canned.whole(homing_while_held=True, **REST)))
    expect(card_of(page)).to_have_count(0)
    page.get_by_role("button", name="Home joints…").click()
    expect(card_of(page).get_by_role("button", name="Hold to home elbow")).to_be_visible()
    looks_well(page)


@pytest.mark.parametrize(
    ("size", "kind"),
    [(DESKTOP, Mouse), (PHONE, Finger), (DESKTOP, Keys)],
    ids=["mouse-1280", "finger-360", "keys-1280"],
)
def test_real_joints_home_only_while_their_controls_are_held(
    tmp_path: Any, open_page: Open, size: dict[str, int], kind: type[Mouse]
) -> None:
    with bench(tmp_path, count=2) as arm:
        arm.arm.write_text("homing_while_held = true\n" + arm.arm.read_text())
        arm.simulate()
        arm.serve()
        arm.until_linked()
        page = open_page(arm.url, size=size, touch=kind is Finger)
        hand, card = kind(page), card_of(page)
        expect(card).to_be_visible(timeout=PATIENCE_MS)
        names = card.locator(".what strong").all_inner_texts()
        first = card.get_by_role("button", name=f"Hold to home {names[0]}")
        hand.keep_pressed(first, lambda: moved(arm))
        until(lambda: is_at_rest(arm), "let go, it rests")
        expect(page.locator(".runbar")).to_contain_text("let go before it was homed")
        assert not any(joint["homed"] for joint in arm.states().values())
        for name in names:
            control = card.get_by_role("button", name=f"Hold to home {name}")
            while not arm.states()[name]["homed"]:
                # A page that the machine lets stand still for 0.25 s has let go: press anew.
                hand.keep_pressed(control, partial(homed_or_let_go, arm, name))
                until(lambda: is_at_rest(arm), "it rests")
        expect(page.locator(".runbar")).to_contain_text("all joints are homed")


def is_at_rest(arm: Bench) -> bool:
    """Whether no joint moves or will."""
    told = arm.arm_now()
    return told["phase"] == "idle" and not any(one["velocity_deg_s"] for one in told["joints"])


def moved(arm: Bench) -> None:
    """Wait until some joint turns."""
    until(lambda: any(one["velocity_deg_s"] for one in arm.arm_now()["joints"]), "it turns")


def homed_or_let_go(arm: Bench, name: str) -> None:
    """Wait until that joint is homed, or its homing of now is over."""
    before = (arm.arm_now()["homing"] or {"number": 0})["number"]

    def is_over() -> bool:
        told = arm.arm_now()
        newest = told["homing"]
        began = newest is not None and newest["number"] >= before and newest["asked"] == [name]
        return arm.states()[name]["homed"] or (began and told["phase"] == "idle")

    until(is_over, f"{name} is homed, or let go")
