"""Teach on the page, before software joints: recorded, ordered, written as a program, gone to."""

import re
from collections.abc import Iterator
from typing import Any

import httpx2
import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import (
    HANDS,
    SHOTS,
    Open,
    edited,
    rests,
    until_free,
    view_for,
)
from tests.browser.hands import Mouse
from tests.browser.looks import looks_well
from tests.e2e.harness import Bench, until

PATIENCE_MS = 60_000


@pytest.fixture(autouse=True)
def _free(arm: Bench) -> None:
    """Nobody has control any more, nothing moves, and nothing is taught."""
    until_free(arm)
    for one in taught(arm)["sequences"]:
        edited(arm, {"type": "delete-sequence", "sequence": one["id"]})
    assert taught(arm)["waypoints"] == []


def taught(arm: Bench) -> dict[str, Any]:
    found: dict[str, Any] = httpx2.get(f"{arm.url}/api/v1/taught").json()
    return found


def names(page: Page) -> Locator:
    return page.locator(".visits > li > button.plain")


@pytest.fixture(params=HANDS)
def opened(
    arm: Bench, open_page: Open, request: pytest.FixtureRequest
) -> Iterator[tuple[Page, Mouse]]:
    """Teach, and what is there to press it with."""
    with view_for(request.param, arm, open_page, "teach", "Teach") as made:
        yield made


def begun(page: Page, hand: Mouse, *waypoints: str) -> None:
    """A new sequence, with places recorded where the arm stands."""
    hand.write(page.get_by_label("New name"), "one tray")
    hand.press(page.get_by_role("button", name="Add", exact=True))
    record = page.get_by_role("button", name="Record here")
    for count, name in enumerate(waypoints, 1):
        hand.write(page.get_by_label("as", exact=True), name)
        hand.press(record)
        expect(names(page)).to_have_count(count, timeout=PATIENCE_MS)


def test_places_are_recorded_ordered_renamed_deleted_undone_and_done_again(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    begun(page, hand, "above", "tray")
    expect(names(page)).to_have_text(["above", "tray"])
    hand.press(names(page).nth(1))
    hand.press(page.get_by_role("button", name="Earlier"))
    expect(names(page)).to_have_text(["tray", "above"], timeout=PATIENCE_MS)
    name = page.get_by_role("group", name="Place 1").get_by_label("Name", exact=True)
    name.fill("in the <b>tray</b>")
    name.press("Tab")
    expect(names(page)).to_have_text(["in the <b>tray</b>", "above"], timeout=PATIENCE_MS)
    hand.press(page.get_by_role("button", name="Duplicate"))
    expect(names(page)).to_have_count(3, timeout=PATIENCE_MS)
    hand.press(page.get_by_role("button", name="Delete", exact=True))
    expect(names(page)).to_have_count(2, timeout=PATIENCE_MS)
    hand.press(page.get_by_role("button", name="Undo"))
    expect(names(page)).to_have_count(3, timeout=PATIENCE_MS)
    hand.press(page.get_by_role("button", name="Redo"))
    expect(names(page)).to_have_count(2, timeout=PATIENCE_MS)
    assert len(taught(arm)["waypoints"]) == 2
    looks_well(page)
    page.screenshot(path=SHOTS / f"teach-{page.viewport_size['width']}.png", full_page=True)  # type: ignore[index]


def test_a_place_is_gone_to_while_its_control_is_held_and_no_longer(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    begun(page, hand, "here")
    at_deg = arm.arm_now()["joints"][0]["position_deg"]
    turned = at_deg - 3 if at_deg > 0 else at_deg + 3
    text = f"G0 A{turned:.2f} B{turned:.2f} C{turned:.2f} (there)\nM2\n"
    page.get_by_role("textbox", name="Program text").fill(text)
    hand.press(page.get_by_role("button", name="Write"))
    expect(names(page)).to_have_text(["there"], timeout=PATIENCE_MS)
    control = page.get_by_role("button", name="Hold to go to there")

    def goes() -> None:
        until(
            lambda: arm.arm_now()["joints"][0]["position_deg"] == pytest.approx(turned, abs=0.02),
            "it is there",
        )

    hand.keep_pressed(control, goes)
    until(lambda: rests(arm), "at rest")
    assert arm.arm_now()["joints"][2]["position_deg"] == pytest.approx(turned, abs=0.02)
    expect(control).not_to_have_class(re.compile("held"))


def test_a_pose_of_the_arm_file_is_gone_to_while_its_control_is_held(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    poses = page.get_by_role("region", name="Poses of the arm file")
    park = arm.arm_now()["poses"]["park"]["turntable"]
    expect(poses).to_contain_text(f"→ {park:.1f}°".replace("-", "−"))

    def is_there() -> None:
        until(
            lambda: arm.arm_now()["joints"][0]["position_deg"] == pytest.approx(park, abs=0.02),
            "it is there",
        )

    Mouse(page).keep_pressed(poses.get_by_role("button", name="Hold to go to park"), is_there)
    until(lambda: rests(arm), "at rest")


def test_the_key_r_records_but_not_in_a_text_nor_on_another_page(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "here")
    field = page.get_by_label("as", exact=True)
    field.press("r")
    expect(field).to_have_value("r")
    page.get_by_role("heading", name="Teach").click()
    page.keyboard.press("r")
    expect(names(page)).to_have_count(2, timeout=PATIENCE_MS)
    page.get_by_role("link", name="Records").click()
    page.keyboard.press("r")
    page.get_by_role("link", name="Teach").click()
    expect(names(page)).to_have_count(2)
    assert len(taught(arm)["waypoints"]) == 2


def test_a_mistake_in_the_text_is_told_while_it_is_typed_and_nothing_is_written(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "here")
    field = page.get_by_role("textbox", name="Program text")
    expect(field).to_have_value(re.compile(r"\(here\)"), timeout=PATIENCE_MS)
    field.fill("G0 A1 B1 C1\nG1 A2 F60\nM2\n")
    mistake = page.get_by_role(
        "button", name=re.compile("Line 2, column 1: a sequence's moves", re.I)
    )
    expect(mistake).to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="Write")).to_have_attribute("aria-disabled", "true")
    mistake.click()
    assert field.evaluate("e => e.value.slice(e.selectionStart, e.selectionEnd)") == "G1 A2 F60"
    page.get_by_role("button", name="Leave it as it was").click()
    expect(field).to_have_value(re.compile(r"\(here\)"))
    assert len(taught(arm)["waypoints"]) == 1


def test_figures_of_a_visit_are_typed_key_by_key_and_kept(arm: Bench, open_page: Open) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "here")
    names(page).nth(0).click()
    field = page.get_by_label("Speed, % of the limits")
    field.fill("")
    field.press_sequentially("40", delay=300)  # the page is drawn anew meanwhile
    field.press("Tab")
    until(lambda: taught(arm)["sequences"][0]["visits"][0]["speed_percent"] == 40, "40 %")
    field = page.get_by_label("Wait, s")
    field.fill("0.5")
    field.press("Tab")
    until(lambda: taught(arm)["sequences"][0]["visits"][0]["dwell_s"] == 0.5, "0.5 s")


def test_a_text_that_was_begun_before_another_edit_does_not_overwrite_that_unseen(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "here")
    field = page.get_by_role("textbox", name="Program text")
    expect(field).to_have_value(re.compile(r"\(here\)"), timeout=PATIENCE_MS)
    mine = field.input_value().replace("(here)", "(mine)")
    field.fill(mine)
    page.get_by_label("as", exact=True).fill("between")
    page.get_by_role("button", name="Record here").click()
    expect(names(page)).to_have_count(2, timeout=PATIENCE_MS)
    page.get_by_role("button", name="Write").click()
    expect(page.locator(".said")).to_contain_text("has changed meanwhile", timeout=PATIENCE_MS)
    expect(names(page)).to_have_text(["here", "between"])
    expect(field).to_have_value(mine)
    page.get_by_role("button", name="Write").click()  # now whoever writes knows
    expect(names(page)).to_have_text(["mine"], timeout=PATIENCE_MS)


def test_a_way_ends_where_its_button_goes_from_under_the_finger(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "here")
    at_deg = arm.arm_now()["joints"][0]["position_deg"]
    far = -150 if at_deg > 0 else 150
    text = f"G0 A{far} B{far} C{far} (there)\nM2\n"
    page.get_by_role("textbox", name="Program text").fill(text)
    page.get_by_role("button", name="Write").click()
    expect(names(page)).to_have_text(["there"], timeout=PATIENCE_MS)
    page.get_by_role("button", name="Hold to go to there").hover()
    page.mouse.down()
    until(lambda: arm.arm_now()["joints"][0]["state"] == "jogging", "it goes")
    sequence = taught(arm)["sequences"][0]["id"]
    body = {"revision": taught(arm)["revision"]}
    held = page.evaluate("() => sessionStorage.getItem('unisono-client')")
    edit = {"edit": {"type": "delete-sequence", "sequence": sequence}}
    mine = {"Unisono-Client": str(held)}  # the same hand, as by a second finger
    answer = httpx2.post(f"{arm.url}/api/v1/taught/edits", json={**body, **edit}, headers=mine)
    assert answer.status_code == 200, answer.text
    until(lambda: rests(arm), "at rest")
    assert arm.arm_now()["joints"][0]["position_deg"] != pytest.approx(far, abs=1)
    page.mouse.up()


def test_an_earlier_version_is_compared_and_restored(arm: Bench, open_page: Open) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "above", "tray")
    names(page).nth(0).click()
    page.get_by_role("button", name="Delete", exact=True).click()
    expect(names(page)).to_have_text(["tray"], timeout=PATIENCE_MS)
    page.get_by_role("button", name="Versions…").click()
    page.get_by_role("button", name="recorded 'tray' in 'one tray'").click()
    rows = page.locator(".compared .differs")
    expect(rows).to_have_count(1, timeout=PATIENCE_MS)
    expect(rows).to_contain_text("(above)")
    page.get_by_role("button", name="Take the text of then").click()
    page.get_by_role("button", name="Write").click()
    expect(names(page)).to_have_text(["above", "tray"], timeout=PATIENCE_MS)
    looks_well(page)


def test_what_another_edits_is_seen_and_is_not_overwritten_unseen(
    arm: Bench, open_page: Open
) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "above")
    page.get_by_role("button", name="Give back").click()
    expect(page.locator(".control")).to_contain_text("Nobody commands", timeout=PATIENCE_MS)
    sequence = taught(arm)["sequences"][0]["id"]
    held: list[Any] = []

    def later(route: Any) -> None:  # this page hears later of what the other did
        held.append(route)

    page.route("**/api/v1/taught", later)
    edited(arm, {"type": "rename-sequence", "sequence": sequence, "name": "other tray"})
    page.get_by_role("button", name="Record here").click()
    expect(page.locator(".said")).to_contain_text("has changed meanwhile", timeout=PATIENCE_MS)
    for route in held:
        route.continue_()
    page.unroute("**/api/v1/taught", later)
    chosen = page.get_by_role("combobox").first
    expect(chosen).to_contain_text("other tray", timeout=PATIENCE_MS)
    assert len(taught(arm)["waypoints"]) == 1


def test_a_shift_is_shown_before_it_is_made_and_can_be_undone(arm: Bench, open_page: Open) -> None:
    page = open_page(f"{arm.url}/#teach")
    begun(page, Mouse(page), "above")
    before = taught(arm)["waypoints"]
    page.get_by_role("button", name="Correct all waypoints and programs…").click()
    page.get_by_label("by, degrees").fill("400")
    page.get_by_label("because").fill("the magnet was glued anew")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".said")).to_contain_text("up to 360° are possible", timeout=PATIENCE_MS)
    page.get_by_label("by, degrees").fill("-30")
    page.get_by_role("button", name="Show").click()
    out = page.locator("p.bad")
    row = page.get_by_role("region", name="Before and after").get_by_role("row").nth(1)
    expect(row).to_be_visible(timeout=PATIENCE_MS)
    if before[0]["angles_deg"]["turntable"] < -140:
        expect(out.last).to_contain_text("its range is -170 to 170°")
        expect(page.get_by_role("button", name="Shift")).to_have_attribute("aria-disabled", "true")
        page.get_by_label("by, degrees").fill("30")
        page.get_by_role("button", name="Show").click()
    shift = page.get_by_role("button", name="Shift")
    expect(shift).to_have_attribute("aria-disabled", "false", timeout=PATIENCE_MS)
    shift.click()
    expect(page.locator(".said")).to_contain_text("Shifted", timeout=PATIENCE_MS)
    assert taught(arm)["waypoints"] != before
    page.get_by_role("button", name="Undo").click()
    until(lambda: taught(arm)["waypoints"] == before, "undone")
    looks_well(page)
