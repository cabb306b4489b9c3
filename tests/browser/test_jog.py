"""Jog on the page, before software joints: by mouse, finger and keys, held and by steps."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Open, rests, until_free
from tests.browser.hands import Finger, Keys, Mouse
from tests.browser.jogging import Gamepad, made_up_pads
from tests.browser.looks import looks_well
from tests.e2e.harness import Bench, until

PATIENCE_MS = 60_000
JOINT = "elbow"


@pytest.fixture(autouse=True)
def _free(arm: Bench) -> None:
    """Nobody has control any more, and nothing moves."""
    until_free(arm)


def joint(arm: Bench, name: str = JOINT) -> dict[str, object]:
    (found,) = [one for one in arm.arm_now()["joints"] if one["name"] == name]
    return dict(found)


def control(page: Page, towards: str, name: str = JOINT) -> Locator:
    return page.get_by_role("button", name=f"{name} to {towards} angles")


@pytest.fixture(params=["mouse-1280", "finger-360", "keys-1280", "keys-360"])
def opened(
    arm: Bench, open_page: Open, request: pytest.FixtureRequest
) -> Iterator[tuple[Page, Mouse]]:
    """The page with its jog controls open, and what is there to press them with."""
    kind, width = request.param.split("-")
    hand = {"mouse": Mouse, "finger": Finger, "keys": Keys}[kind]
    size = DESKTOP if width == "1280" else PHONE
    page = open_page(arm.url, size=size, touch=kind == "finger")
    expect(page.locator(".lane")).to_have_count(3, timeout=PATIENCE_MS)
    hand(page).press(page.get_by_role("button", name="Jog…"))
    yield page, hand(page)
    page.goto("about:blank")
    until_free(arm)


def test_a_joint_turns_while_its_control_is_held_and_rests_when_it_is_let_go(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    before = joint(arm)["position_deg"]
    band = page.locator(".sign")

    def turning() -> None:
        expect(band).to_contain_text(f"{JOINT} is jogged", timeout=PATIENCE_MS)
        until(lambda: joint(arm)["position_deg"] != before, "the joint turns")
        if isinstance(hand, Finger):
            page.screenshot(path=SHOTS / "jog-finger.png")

    hand.keep_pressed(control(page, "larger"), turning)
    until(lambda: rests(arm), "at rest")
    after = joint(arm)["position_deg"]
    assert isinstance(after, float)
    assert isinstance(before, float)
    assert after > before
    expect(band).to_contain_text("at rest", timeout=PATIENCE_MS)
    expect(page.locator(".jogbar")).to_contain_text(re.compile(r"Lag from hand to motion: \d+"))

    def back() -> None:
        until(lambda: float(str(joint(arm)["position_deg"])) < after, "it turns back")

    hand.keep_pressed(control(page, "smaller"), back)


def test_a_step_turns_a_joint_by_that_angle_and_steps_add_up(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    before = float(str(joint(arm)["position_deg"]))
    hand.press(page.get_by_role("button", name="0.1° a press"))
    for _ in range(4):
        hand.press(control(page, "larger"))
    hand.press(control(page, "smaller"))
    until(
        lambda: (
            rests(arm)
            and float(str(joint(arm)["position_deg"])) == pytest.approx(before + 0.3, abs=0.006)
        ),
        "three tenths of a degree further",
    )


def test_a_stick_and_a_slider_turn_joints_until_they_are_let_go(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(arm.url, before=made_up_pads)
    page.get_by_role("button", name="Jog…").click()
    pad = Gamepad(page)
    page.get_by_label("left stick").select_option(JOINT)
    before = float(str(joint(arm)["position_deg"]))
    pad.push()
    pad.push(0, 0, 4)
    pad.push(1.0, 0, 4)
    until(lambda: float(str(joint(arm)["position_deg"])) > before, "it turns")
    pad.unplug()
    until(lambda: rests(arm), "at rest")

    before = float(str(joint(arm)["position_deg"]))
    slider = page.get_by_role("slider", name=f"Push {JOINT}")
    slider.hover()
    page.mouse.down()
    slider.hover(position={"x": 5, "y": 20})
    until(lambda: float(str(joint(arm)["position_deg"])) < before, "it turns back")
    page.mouse.up()
    until(lambda: rests(arm), "at rest")


@pytest.mark.parametrize("ends", ["blur", "page", "close"])
def test_who_looks_elsewhere_lets_go(arm: Bench, open_page: Open, ends: str) -> None:
    page = open_page(arm.url)
    page.get_by_role("button", name="Jog…").click()
    control(page, "larger").hover()
    page.mouse.down()
    until(lambda: joint(arm)["state"] == "jogging", "it turns")
    if ends == "blur":
        page.evaluate("dispatchEvent(new Event('blur'))")
    elif ends == "page":
        page.evaluate("location.hash = '#records'")
    else:
        page.close()
    until(lambda: rests(arm), "at rest")
    assert joint(arm)["state"] == "ready"


def test_a_page_that_stands_still_lets_go(arm: Bench, open_page: Open) -> None:
    page = open_page(arm.url)
    page.get_by_role("button", name="Jog…").click()
    control(page, "smaller").hover()
    page.mouse.down()
    until(lambda: joint(arm)["state"] == "jogging", "it turns")
    page.evaluate("const end = performance.now() + 2000; while (performance.now() < end);")
    # The pointer is held still, and moves nothing by that.
    expect(control(page, "smaller")).not_to_have_class(re.compile("held"), timeout=PATIENCE_MS)
    until(lambda: rests(arm), "at rest")
    place = joint(arm)["position_deg"]
    for _ in range(5):
        assert joint(arm)["position_deg"] == place
    page.mouse.up()


def test_what_is_refused_is_said_and_must_be_pressed_anew(arm: Bench, open_page: Open) -> None:
    page = open_page(arm.url)
    api, other = f"{arm.url}/api/v1/control", {"Unisono-Client": "the-other-page"}
    page.request.post(f"{api}/take", headers=other)
    page.get_by_role("button", name="Jog…").click()
    control(page, "larger").hover()
    page.mouse.down()
    expect(page.locator(".said")).to_contain_text("take control first", timeout=PATIENCE_MS)
    page.request.post(f"{api}/release", headers=other)
    assert rests(arm)
    expect(control(page, "larger")).not_to_have_class(re.compile("held"))
    assert rests(arm)
    page.mouse.up()


def test_the_jog_controls_are_for_every_hand_and_never_under_stop(
    arm: Bench, open_page: Open
) -> None:
    for size in (DESKTOP, PHONE):
        page = open_page(arm.url, size=size)
        page.get_by_role("button", name="Jog…").click()
        for towards in ("smaller", "larger"):
            for name in arm.joints:
                one = control(page, towards, name)
                one.scroll_into_view_if_needed()
                box, bar = one.bounding_box(), page.locator(".commands").bounding_box()
                assert box is not None
                assert bar is not None
                assert min(box["width"], box["height"]) >= 48
                assert box["y"] + box["height"] <= bar["y"]
        looks_well(page)
        page.screenshot(path=SHOTS / f"jog-{size['width']}.png", full_page=True)
