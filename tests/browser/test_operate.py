"""Software joints, a real coordinator and the page: everything by mouse, finger and keyboard."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Open
from tests.browser.hands import Finger, Keys, Mouse
from tests.browser.homing import home_all
from tests.e2e.harness import Bench, linked_bench, program, until

PATIENCE_MS = 60_000
FAR = program(150, feed=300)
"""Slower than any of this takes."""


@pytest.fixture(scope="module")
def arm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Three joints and their coordinator, for all of these tests."""
    with linked_bench(tmp_path_factory.mktemp("arm")) as made:
        yield made


def said(page: Page, text: str) -> None:
    """Wait until the band says so."""
    expect(page.locator(".sign")).to_contain_text(text, timeout=PATIENCE_MS)


def home(page: Page, hand: Mouse) -> None:
    home_all(page, hand.press)
    expect(page.locator(".runbar")).to_contain_text("all joints are homed", timeout=PATIENCE_MS)
    said(page, "at rest")


def play(page: Page, hand: Mouse, text: str) -> None:
    hand.press(page.get_by_role("link", name="Play", exact=True))
    hand.write(page.get_by_label("Name"), "there.nc")
    hand.write(page.get_by_role("textbox", name="Program"), text)
    hand.press(page.get_by_role("button", name="Check"))
    expect(page.get_by_role("heading", name=re.compile("No mistakes"))).to_be_visible()
    hand.press(page.get_by_role("button", name="Play", exact=True))
    said(page, "moving")


@pytest.mark.parametrize(
    ("size", "kind"),
    [(DESKTOP, Mouse), (PHONE, Finger), (DESKTOP, Keys), (PHONE, Keys)],
    ids=["mouse-1280", "finger-360", "keyboard-1280", "keyboard-360"],
)
def test_home_play_hold_resume_and_stop_work(
    arm: Bench, open_page: Open, size: dict[str, int], kind: type[Mouse]
) -> None:
    page = open_page(arm.url, size=size, touch=kind is Finger)
    hand = kind(page)
    expect(page.locator(".lane")).to_have_count(3, timeout=PATIENCE_MS)
    home(page, hand)
    play(page, hand, FAR)
    page.screenshot(path=SHOTS / f"playing-{kind.__name__.lower()}.png", full_page=True)
    expect(page.get_by_role("button", name="Jog…")).to_have_count(0)

    hand.press(page.get_by_role("button", name="Hold", exact=True))
    said(page, "held")
    resume = page.get_by_role("button", name="Resume", exact=True)
    hand.keep_pressed(resume, lambda: expect(resume).to_be_disabled(timeout=PATIENCE_MS))
    said(page, "moving")
    hand.press(page.get_by_role("button", name="Stop", exact=True))

    ended = page.get_by_role("region", name="The run that ended")
    expect(ended).to_contain_text("stopped", timeout=PATIENCE_MS)
    expect(ended).to_contain_text("Resume")
    expect(page.locator(".lane .state").first).to_contain_text("stopped")
    # Control is given back with the page.
    page.goto("about:blank")
    until(lambda: arm.holder() is None, "control given back")


def test_after_a_run_its_report_says_how_close_together_all_began(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(arm.url)
    hand = Mouse(page)
    home(page, hand)
    play(page, hand, program(-150))
    ended = page.get_by_role("region", name="The run that ended")
    expect(ended).to_contain_text("finished", timeout=PATIENCE_MS)
    report = arm.ask("report")
    assert report["outcome"] == "finished"
    expect(ended).to_contain_text(f"Run {report['run']}, there.nc")
    expect(ended).to_contain_text(re.compile(r"began .*apart.* guaranteed at most \d"))
    for name in arm.joints:
        row = ended.get_by_role("row", name=re.compile(f"^{name}"))
        expect(row).to_contain_text(re.compile(r"\d\s(µs|ms|s)"))

    hand.press(page.get_by_role("link", name="Records", exact=True))
    hand.press(page.get_by_role("button", name=f"Run {report['run']}, there.nc"))
    expect(page.get_by_role("region", name="Report")).to_contain_text("guaranteed at most")
    hand.press(page.get_by_role("button", name="Give back"))


def test_the_speed_is_set_by_its_slider(arm: Bench, open_page: Open) -> None:
    page = open_page(arm.url)
    hand = Mouse(page)
    home(page, hand)
    play(page, hand, FAR)
    slider = page.get_by_role("slider", name="speed")
    slider.fill("50")
    until(lambda: arm.arm_now()["run"]["rate_percent"] == 50, "half the speed")
    expect(page.locator(".speed output")).to_have_text("50 %")
    # What is asked is shown at once; it is in force a little later, and then in the report.
    until(lambda: bool(arm.newest_report()["overrides"]), "half the speed in force")
    hand.press(page.get_by_role("button", name="Hold", exact=True))
    said(page, "held")
    assert arm.ask("report")["overrides"][0]["percent"] == 50
    hand.press(page.get_by_role("button", name="Stop", exact=True))
    expect(page.get_by_role("region", name="The run that ended")).to_contain_text("Speed: 50 %")
    hand.press(page.get_by_role("button", name="Give back"))


def test_a_program_with_mistakes_is_told_line_by_line_and_cannot_be_played(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#play")
    page.get_by_role("textbox", name="Program").fill("G0 A-150\nG2 A10\nM2\n")
    page.get_by_role("button", name="Check").click()
    expect(page.locator(".problems")).to_contain_text("Line 2, column 1")
    expect(page.get_by_role("button", name="Play", exact=True)).to_have_count(0)


def test_the_example_is_offered_and_a_joint_that_it_does_not_know_is_told(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#play")
    page.get_by_role("button", name="Load the example").click()
    field = page.get_by_role("textbox", name="Program")
    expect(field).to_have_value(re.compile("Prick out two seedlings"))
    page.get_by_role("button", name="Check").click()
    expect(page.locator(".problems li").first).to_contain_text("Line")


def test_details_of_a_joint_open_on_demand_and_its_light_blinks(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(arm.url)
    page.get_by_role("button", name="elbow").click()
    details = page.get_by_role("region", name="Details of elbow")
    expect(details).to_contain_text(arm.states()["elbow"]["id"])
    with page.expect_response("**/api/v1/blink") as answer:
        details.get_by_role("button", name="Blink its light").click()
    assert answer.value.ok
