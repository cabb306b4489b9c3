"""The arm file on Bring up: mistakes by line while one types, what changes, and one step."""

import json
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from coordinator.config.arm_text import look_at
from coordinator.config.settings import DEMO_ARM
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.looks import looks_well
from tests.browser.test_bringup import limp, opened

TEXT = DEMO_ARM.read_text(encoding="utf-8")
OTHER = TEXT.replace("gear_ratio = 10.0", "gear_ratio = 12.0  # counted")


class Coordinator:
    """What answers for the file."""

    def __init__(self, **values: Any) -> None:
        self.now = {
            "file": "/home/gardener/arm.toml", "text": TEXT, "sha256": "5" * 64, "in_use": True,
            "kept_because": "", **values,
        }  # fmt: skip
        self.written: list[dict[str, Any]] = []
        self.refusal: dict[str, Any] | None = None

    def attach(self, page: Page) -> None:
        page.route("**/api/v1/arm/file/now", lambda route: route.fulfill(json=self.now))
        page.route("**/api/v1/arm/file/check", self._check)
        page.route("**/api/v1/arm/file", self._write)

    def _check(self, route: Route) -> None:
        body: Any = route.request.post_data_json
        looked = look_at(body["text"], DEMO_ARM, self.now["text"])
        route.fulfill(json=json.loads(json.dumps(looked, default=lambda one: {
            name: getattr(one, name) for name in one.__slots__})))  # fmt: skip

    def _write(self, route: Route) -> None:
        body: Any = route.request.post_data_json
        self.written.append(body)
        if self.refusal is not None:
            route.fulfill(status=409, json=self.refusal)
            return
        self.now |= {"text": body["text"], "sha256": "6" * 64, "in_use": False}
        route.fulfill(json=self.now)


def file_open(
    open_page: Open, files: str, there: Coordinator, size: dict[str, int] = DESKTOP
) -> Page:
    page = opened(open_page, files, Feed(limp()), size)
    there.attach(page)
    page.get_by_role("button", name="Open the arm file").click()
    expect(page.get_by_role("textbox", name="Text of the arm file")).to_have_value(TEXT)
    return page


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_mistakes_stand_by_their_line_while_one_types_and_changes_are_shown_before_they_are_written(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    there = Coordinator()
    page = file_open(open_page, files, there, size)
    card = page.get_by_role("region", name="Arm file")
    field = card.get_by_role("textbox")
    show = card.get_by_role("button", name="Show what changes…")
    expect(show).to_have_attribute("aria-disabled", "true")

    field.fill(TEXT.replace("gear_ratio = 10.0", "gear_ratio = 0"))
    line = TEXT.splitlines().index("gear_ratio = 10.0") + 1
    mistake = card.get_by_role("button", name=f"Line {line}: Joint tool: gear_ratio is 0")
    expect(mistake).to_be_visible()
    looks_well(page)
    page.screenshot(path=SHOTS / f"arm-file-mistake-{size['width']}.png", full_page=True)
    mistake.click()
    assert field.evaluate("(one) => one.value.slice(one.selectionStart, one.selectionEnd)") == (
        "gear_ratio = 0"
    )
    expect(show).to_have_attribute("aria-disabled", "true")

    field.fill(OTHER)
    expect(show).to_have_attribute("aria-disabled", "false")
    show.press("Enter")
    rows = card.get_by_label("Lines that go and come").get_by_role("listitem")
    expect(rows).to_have_text([
        f"− {line}: gear_ratio = 10.0 goes", f"+ {line}: gear_ratio = 12.0  # counted comes",
    ])  # fmt: skip
    looks_well(page)
    page.screenshot(path=SHOTS / f"arm-file-changes-{size['width']}.png", full_page=True)
    assert there.written == []
    card.get_by_role("button", name="Write this into arm.toml").click()
    expect(page.locator(".said")).to_contain_text("takes it at its next start")
    assert there.written == [{"text": OTHER, "instead_of": "5" * 64}]
    expect(card).to_contain_text("This coordinator runs by another text")


def test_what_was_shown_is_what_is_written_and_more_typing_shows_it_anew(
    open_page: Open, files: str
) -> None:
    there = Coordinator()
    card = file_open(open_page, files, there).get_by_role("region", name="Arm file")
    card.get_by_role("textbox").fill(OTHER)
    card.get_by_role("button", name="Show what changes…").click()
    write = card.get_by_role("button", name="Write this into arm.toml")
    expect(write).to_be_visible()
    card.get_by_role("textbox").fill(OTHER + "# and more\n")
    expect(write).to_have_count(0)
    assert there.written == []


def test_a_file_that_somebody_else_changed_is_said_and_what_was_typed_stays(
    open_page: Open, files: str
) -> None:
    there = Coordinator()
    there.refusal = {
        "type": "urn:unisono:problem:arm-file-changed", "status": 409,
        "detail": "arm.toml was changed by somebody else since it was read here",
    }  # fmt: skip
    page = file_open(open_page, files, there)
    card = page.get_by_role("region", name="Arm file")
    card.get_by_role("textbox").fill(OTHER)
    card.get_by_role("button", name="Show what changes…").click()
    card.get_by_role("button", name="Write this into arm.toml").click()
    expect(page.locator(".said")).to_contain_text("was changed by somebody else")
    expect(card.get_by_role("textbox")).to_have_value(OTHER)


def test_the_demo_arm_says_that_it_stays_as_it_is(open_page: Open, files: str) -> None:
    there = Coordinator(kept_because="this is the demo arm")
    card = file_open(open_page, files, there).get_by_role("region", name="Arm file")
    card.get_by_role("textbox").fill(OTHER)
    expect(card).to_contain_text("It cannot be written from here: this is the demo arm.")
    expect(card.get_by_role("button", name="Show what changes…")).to_have_attribute(
        "aria-disabled", "true"
    )
