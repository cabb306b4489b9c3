"""Bad luck at the jog's controls: each time the page says in a sentence what is so."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.between import Between
from tests.browser.conftest import Feed, Open, rests, until_free
from tests.browser.jogging import jogging, resting, stays_asked, until_asked
from tests.e2e.harness import Bench, linked_bench, until

PATIENCE_MS = 60_000
JOINT = "elbow"


def angle(arm: Bench) -> float:
    return float(arm.states()[JOINT]["position_deg"])


def opened(open_page: Open, arm: Bench, before: Any = None) -> Page:
    page = open_page(arm.url, before=before)
    page.get_by_role("button", name="Jog…").click()
    return page


def press(page: Page, towards: str = "larger", name: str = JOINT) -> None:
    page.get_by_role("button", name=f"{name} to {towards} angles").hover()
    page.mouse.down()


def told(page: Page, sentence: str) -> None:
    expect(page.locator(".said")).to_contain_text(sentence, timeout=PATIENCE_MS)


UNSENT = "What the hand wished was not sent"


def told_last(page: Page, between: Between) -> None:
    """What was refused last stands there, whichever of the reasons against so many it was; or that
    what was pressed since was not sent, as a busy machine is not done with what was said before.
    """

    def is_told() -> bool:
        page.evaluate("0")  # what comes meanwhile is taken in
        last = str(between.refused[-1]["message"])
        said = page.locator(".said").inner_text()
        return last[0].upper() + last[1:] in said or said.startswith(UNSENT)

    until(is_told, "what was refused last")


def test_what_a_stale_tab_wished_moves_nothing_and_that_is_said(
    arm: Bench, open_page: Open
) -> None:
    between = Between()
    page = opened(open_page, arm, between.attach)
    until_free(arm)
    before = angle(arm)
    between.holds_back = True
    press(page)

    def wished() -> bool:
        page.evaluate("0")  # what the page said is taken in while it is asked something
        return len(between.kept) > 3

    until(wished, "wishes")
    page.mouse.up()
    let_go_us = arm.arm_now()["now_us"]
    # Held back for longer than a wish to turn may wait, then all at once, as TCP delivers it.
    until(lambda: arm.arm_now()["now_us"] - let_go_us > 600_000, "late")
    page.evaluate("0")
    between.let_through()
    told(page, "It was too long on its way, and moved nothing. Press anew.")

    def all_refused() -> bool:
        """Each wish to turn is: a refusal that comes later would end what is pressed anew."""
        page.evaluate("0")
        return len(between.refused) == sum(
            '"velocities_deg_s":{}' not in one for one in between.kept
        )

    until(all_refused, "an answer to each")
    assert rests(arm)
    assert angle(arm) == before
    press(page)
    until(lambda: angle(arm) > before, "pressed anew it turns")
    page.mouse.up()
    page.close()


def test_of_two_pages_that_jog_the_second_is_refused_and_told_how_to_take_control(
    arm: Bench, open_page: Open
) -> None:
    until_free(arm)
    first, second = opened(open_page, arm), opened(open_page, arm)
    press(first)
    until(lambda: not rests(arm), "it turns for the first")
    press(second, name="turntable")
    told(second, "take control first")
    second.mouse.up()
    still = arm.states()["turntable"]["position_deg"]
    assert arm.states()[JOINT]["state"] == "jogging"  # the first is not disturbed
    second.locator(".said").get_by_role("button", name="Take over, which holds").click()
    until(lambda: rests(arm), "what the first turned is held")
    expect(first.locator(".said")).to_contain_text("commands now, and you do not any more")
    assert arm.states()["turntable"]["position_deg"] == still

    def turns() -> bool:
        """Pressed anew: just after a jog was ended, none begins."""
        second.mouse.up()
        press(second, name="turntable")
        second.evaluate("new Promise((done) => setTimeout(done, 400))")
        return bool(arm.states()["turntable"]["position_deg"] > still)

    until(turns, "it turns for the second")
    second.mouse.up()
    first.close()
    second.close()


MANY = """async ([name, most]) => {
    const button = document.querySelector(`[aria-label="${name} to larger angles"]`);
    button.setPointerCapture = () => {};
    window.presses = 0;
    while (window.presses < most && !window.enough) {
        const press = { pointerId: 1, button: 0, isPrimary: true };
        button.dispatchEvent(new PointerEvent("pointerdown", press));
        button.dispatchEvent(new PointerEvent("pointerup", press));
        window.presses += 1;
        await new Promise((done) => setTimeout(done, 4));
    }
}"""


def test_hundreds_of_presses_a_second_are_told_to_be_too_many_and_the_arm_stops(
    arm: Bench, open_page: Open
) -> None:
    until_free(arm)
    between = Between()
    page = opened(open_page, arm, between.attach)
    page.evaluate(MANY, [JOINT, 600])
    until(lambda: rests(arm), "at rest")
    page.evaluate("0")
    assert "rate" in {one["code"] for one in between.refused}
    told_last(page, between)
    page.close()


def test_of_many_steps_a_second_each_is_made_or_refused_and_none_is_lost(
    arm: Bench, open_page: Open
) -> None:
    until_free(arm)
    between = Between()
    page = opened(open_page, arm, between.attach)
    page.get_by_role("button", name="0.1° a press").click()
    before = angle(arm)
    page.evaluate(MANY, [JOINT, 300])
    last = max(one["number"] for one in between.wishes)

    def answered() -> bool:
        page.evaluate("0")
        return rests(arm) and between.wishes[-1]["number"] == last

    until(answered, "at rest")
    told_last(page, between)
    # So many are not taken, and on a slow machine some come too late.
    assert {one["code"] for one in between.refused} <= {"steps", "rate", "wish-old"}
    made = sum(one["type"] == "step" for one in between.wishes) - len(between.refused)
    assert 50 <= made < 300
    assert angle(arm) - before == pytest.approx(made * 0.1, abs=0.02)
    page.close()


@pytest.mark.parametrize("steps", [False, True])
def test_a_wish_that_cannot_be_sent_is_told_and_lets_go(
    arm: Bench, open_page: Open, steps: bool
) -> None:
    until_free(arm)
    page = opened(open_page, arm)
    if steps:
        page.get_by_role("button", name="1° a press", exact=True).click()
    full = "Object.defineProperty(WebSocket.prototype, 'bufferedAmount', { get: () => 100 })"
    page.evaluate(full)
    before = angle(arm)
    press(page)
    told(page, "What the hand wished was not sent")
    button = page.get_by_role("button", name=f"{JOINT} to larger angles")
    expect(button).not_to_have_class(re.compile("held"))
    assert angle(arm) == before
    page.close()


def test_a_control_held_through_a_hold_is_told_to_be_let_go(arm: Bench, open_page: Open) -> None:
    until_free(arm)
    page = opened(open_page, arm)
    press(page)
    until(lambda: not rests(arm), "it turns")
    assert arm.unisono("hold").returncode == 0
    told(page, "let go of the control first")
    place = angle(arm)
    assert rests(arm)
    page.mouse.up()
    assert angle(arm) == place
    page.close()


def test_at_the_end_of_its_range_a_joint_stops_and_that_is_said(
    arm: Bench, open_page: Open
) -> None:
    assert arm.unisono("jog", JOINT, f"{-168 - angle(arm):.2f}", "--speed", "fast").returncode == 0
    until_free(arm)
    page = opened(open_page, arm)
    press(page, "smaller")
    told(page, "Elbow is at the end of its range, −170.00°: it turns only the other way.")
    page.mouse.up()
    until(lambda: rests(arm), "at rest")
    assert angle(arm) == pytest.approx(-170, abs=0.02)
    page.get_by_role("button", name="1° a press", exact=True).click()
    page.get_by_role("button", name=f"{JOINT} to smaller angles").click()
    told(page, "its range is -170 to 170°")
    page.close()


def test_a_joint_that_is_not_homed_says_so_in_its_row_and_turns(
    tmp_path_factory: pytest.TempPathFactory, open_page: Open
) -> None:
    with linked_bench(tmp_path_factory.mktemp("arm")) as fresh:
        page = opened(open_page, fresh)
        row = page.get_by_role("group", name=f"Jog {JOINT}")
        expect(row).to_contain_text("not homed: it turns slowly, and past the ends of its range")
        press(page)
        until(lambda: fresh.states()[JOINT]["velocity_deg_s"], "it turns")
        page.mouse.up()
        until(lambda: not fresh.states()[JOINT]["velocity_deg_s"], "it rests")
        page.close()


# ---- an arm that is made up -----------------------------------------------------------------


@pytest.fixture
def feed() -> Feed:
    return Feed(resting())


@pytest.fixture
def page(open_page: Open, files: str, feed: Feed) -> Page:
    return jogging(open_page, files, feed)


@pytest.mark.parametrize("steps", [False, True])
def test_a_joint_that_is_too_hot_is_named_with_its_fault(
    page: Page, feed: Feed, steps: bool
) -> None:
    hot = {"state": "faulted", "faults": ["over-temperature"], "temperature_c": 61.0}
    feed.say(canned.change(2, joints={JOINT: hot}))
    expect(page.locator(".lane").nth(2)).to_contain_text("fault")
    if steps:
        page.get_by_role("button", name="1° a press", exact=True).click()
    press(page)
    told(page, "Elbow has a fault: over-temperature. It turns again once that is gone.")


def test_a_fault_that_comes_while_a_control_is_held_is_told_once(page: Page, feed: Feed) -> None:
    press(page)
    until_asked(page, feed, {JOINT: 9.0})
    expect(page.locator(".said")).to_have_text("")
    feed.say(canned.change(2, joints={JOINT: {"faults": ["driver"]}}))
    told(page, "Elbow has a fault: driver.")
    page.locator(".said").get_by_role("button", name="Close").dispatch_event("click")
    feed.say(canned.change(3))
    stays_asked(page, feed, {JOINT: 9.0})
    expect(page.locator(".said")).to_have_text("")


@pytest.mark.parametrize(
    ("code", "message", "more"),
    [
        ("rate", "over 60 wishes a second", "What was held is let go, and what was pressed since"),
        ("wish-old", "a wish of 400 ms ago, 250 ms at most", "It was too long on its way"),
        ("jog-speed", "elbow: 61 °/s, its limit is 60 °/s", ""),
    ],
)
def test_what_to_do_after_a_refusal_is_told(
    page: Page, feed: Feed, code: str, message: str, more: str
) -> None:
    feed.say({"type": "refused", "number": 1, "code": code, "message": message})
    told(page, f"{message[0].upper()}{message[1:]}. {more}".strip())


def test_while_a_program_is_held_the_page_says_why_there_is_no_jog(page: Page, feed: Feed) -> None:
    feed.say(canned.change(2, set={"run": canned.run(phase="held"), "phase": "held"}))
    expect(page.get_by_text("No jog while a program plays, is held or paused")).to_be_visible()
    expect(page.locator(".jogrow")).to_have_count(0)


_OBSTACLE = """async ([joint, sign]) => (await import("/app/hand.js")).obstacle(joint, sign)"""


@pytest.mark.parametrize(
    ("deg", "sign", "told_"),
    [
        (170.0, 1, True), (169.985, 1, True), (169.97, 1, False), (170.0, -1, False),
        (-170.0, -1, True), (-171.0, -1, True), (-170.0, 1, False), (-170.0, -0.2, True),
    ],
)  # fmt: skip
def test_only_the_way_out_of_its_range_is_told_to_be_closed(
    page: Page, deg: float, sign: float, told_: bool
) -> None:
    joint = canned.joint(2, position_deg=deg)
    assert (page.evaluate(_OBSTACLE, [joint, sign]) is not None) is told_
    # Without end, or not homed, nothing is known of an end.
    for free in ({"range_deg": None}, {"homed": False}):
        assert page.evaluate(_OBSTACLE, [joint | free, sign]) is None
