"""The program that somebody writes: kept, and its mistakes led to."""

from dataclasses import asdict
from typing import Any

from playwright.sync_api import Page, Route, expect

from coordinator.api.responses.program import CURVES
from tests.browser import canned
from tests.browser.conftest import Feed, Open

TEXT = "G0 A10\nG0 A20\nG2 A30\nM2\n"
WRONG = {
    "ok": False, "moves": [], "slower": [], "corners": [], "remarks": [],
    "duration_s": None, "begins": "here",
    "errors": [{"line": 3, "column": 1, "message": "G2 is not known"}],
}  # fmt: skip


def opened(open_page: Open, files: str, told: dict[str, Any] = WRONG) -> Page:
    """The page for programs, with one written, and what a check of it tells."""

    def check(route: Route) -> None:
        route.fulfill(json=told)

    def before(page: Page) -> None:
        Feed(canned.whole(run=None, phase="idle", condition=canned.condition("at rest"))).attach(
            page
        )
        page.route("**/api/v1/check", check)
        page.route("**/api/v1/runs?*", lambda route: route.fulfill(json={"runs": []}))

    page = open_page(f"{files}/#play", before=before)
    page.get_by_label("Name").fill("tray.nc")
    page.get_by_role("textbox", name="Program").fill(TEXT)
    return page


def written(page: Page) -> tuple[Any, Any]:
    return (
        page.get_by_label("Name").input_value(),
        page.get_by_role("textbox", name="Program").input_value(),
    )


def test_a_program_is_kept_when_its_page_is_left_and_over_a_reload(
    open_page: Open, files: str
) -> None:
    page = opened(open_page, files)
    page.get_by_role("link", name="Watch").click()
    expect(page.locator(".lane")).to_have_count(6)
    page.get_by_role("link", name="Play", exact=True).click()
    assert written(page) == ("tray.nc", TEXT)
    page.reload()
    assert written(page) == ("tray.nc", TEXT)


def test_a_mistake_selects_its_line_and_the_check_keeps_the_focus(
    open_page: Open, files: str
) -> None:
    page = opened(open_page, files)
    check = page.get_by_role("button", name="Check")
    check.press("Enter")
    mistake = page.get_by_role("button", name="Line 3, column 1: G2 is not known.")
    expect(mistake).to_be_visible()
    expect(check).to_be_focused()
    mistake.press("Enter")
    field = page.get_by_role("textbox", name="Program")
    expect(field).to_be_focused()
    selected = field.evaluate("(one) => one.value.slice(one.selectionStart, one.selectionEnd)")
    assert selected == "G2 A30"


def test_the_focus_is_not_lost_with_what_had_it(open_page: Open, files: str) -> None:
    page = opened(open_page, files)
    page.get_by_role("link", name="Records").press("Enter")
    expect(page.locator("#main")).to_be_focused()
    page.get_by_role("button", name="Motors off…").press("Enter")
    leave = page.get_by_role("button", name="Leave them on")
    leave.press("Enter")
    expect(page.get_by_role("button", name="Motors off…")).to_be_focused()


def test_a_check_says_where_joints_overtravel_and_where_reversal_error_stays(
    open_page: Open, files: str
) -> None:
    overtravel = {"stops": 2, "duration_s": 1.19, "joints": ["elbow", "wrist"], "passed": 1}
    right = WRONG | {"ok": True, "errors": [], "duration_s": 5.0, "overtravel": overtravel}
    page = opened(open_page, files, right)
    page.route("**/check/curves", lambda route: route.fulfill(json=asdict(CURVES)))
    page.get_by_role("button", name="Check").click()
    problems = page.locator(".problems li")
    expect(problems).to_have_text(
        [
            "Overtravel at 2 stops by elbow, wrist: 1.2 s of that time.",
            "No overtravel at one end that is passed: reversal error stays there.",
        ]
    )
