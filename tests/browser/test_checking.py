"""A check that takes long: how far it is, and its end by Cancel; the coordinator is made up."""

import json
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import PHONE, SHOTS, Feed, Open
from tests.browser.looks import looks_well

SLOW = """
const real = window.fetch;
window.asked = [];
window.fetch = (url, how) => {
  const path = String(url).replace(/.*[/]api[/]v1/, "");
  if (path === "/hold") window.asked.push({ path });
  if (!["/check", "/runs"].includes(path)) return real(url, how);
  window.asked.push({ path, accept: how.headers.Accept });
  const stream = new ReadableStream({ start(control) {
    const encoded = (one) => new TextEncoder().encode(
      typeof one === "string" ? one : JSON.stringify(one) + "\\n");
    window.say = (...told) => told.forEach((one) => control.enqueue(encoded(one)));
    window.end = () => control.close();
    how.signal.addEventListener("abort", () => {
      window.asked.push({ path, aborted: true });
      control.error(new DOMException("aborted", "AbortError"));
    });
  } });
  const headers = { "Content-Type": "application/x-ndjson" };
  return Promise.resolve(new Response(stream, { headers }));
};
"""
"""Answers line by line, as the test says."""
CHECKED = {
    "ok": True, "moves": [], "slower": [], "corners": [], "remarks": [], "errors": [],
    "duration_s": 0.0, "begins": "here", "seam": None,
}  # fmt: skip


def far(done: int, stage: str = "planning", of: int = 1000) -> dict[str, Any]:
    return {"progress": {"stage": stage, "done": done, "of": of}}


@pytest.fixture(name="page")
def page_that_checks(open_page: Open, files: str) -> Page:
    def before(page: Page) -> None:
        Feed(canned.whole(phase="idle", run=None)).attach(page)
        page.add_init_script(SLOW)

    page = open_page(f"{files}/#play", before=before, size=PHONE, bypass_csp=True)
    page.get_by_label("Program", exact=True).fill("G0 A10\nM2\n")
    page.get_by_role("button", name="Check", exact=True).press("Enter")
    page.wait_for_function("window.say !== undefined")
    return page


def say(page: Page, *told: dict[str, Any] | str) -> None:
    page.evaluate("(told) => window.say(...told)", list(told))


def test_a_check_tells_how_far_it_is_and_then_what_it_found(page: Page) -> None:
    form = page.locator(".play")
    say(page, far(0, "waiting", 0))
    expect(form).to_contain_text("Waiting for another program")
    text = json.dumps(far(256)) + "\n"
    say(page, text[:20], text[20:])
    expect(form).to_contain_text("Planning moves: 256 of 1000")
    bar = form.get_by_role("progressbar", name="How far the program is")
    expect(bar).to_have_attribute("value", "256")
    looks_well(page)
    form.screenshot(path=SHOTS / "checking-360.png")
    say(page, far(512), {"answer": CHECKED})
    expect(form.get_by_role("status")).to_contain_text("No mistakes")
    expect(bar).to_have_count(0)
    assert page.evaluate("window.asked") == [
        {"path": "/check", "accept": "application/x-ndjson, application/json"}
    ]


def test_by_keyboard_a_check_is_cancelled_and_another_one_begins(page: Page) -> None:
    form = page.locator(".play")
    say(page, far(256))
    form.get_by_role("button", name="Cancel").press("Enter")
    expect(form.get_by_role("status")).to_have_text(
        "Cancelled: the program was not checked to its end."
    )
    check = page.get_by_role("button", name="Check", exact=True)
    expect(check).to_be_focused()
    assert page.evaluate("window.asked")[-1] == {"path": "/check", "aborted": True}
    page.keyboard.press("Enter")
    page.wait_for_function("window.asked.at(-1).accept !== undefined")
    say(page, far(700))
    expect(form).to_contain_text("Planning moves: 700 of 1000")
    expect(form).not_to_contain_text("Cancelled")
    say(page, {"answer": CHECKED})
    expect(form.get_by_role("status")).to_contain_text("No mistakes")


def test_a_play_that_is_cancelled_while_it_is_planned_is_held_too(page: Page) -> None:
    page.route("**/api/v1/hold", lambda route: route.fulfill(status=409, json={}))
    say(page, {"answer": CHECKED})
    form = page.locator(".play")
    form.get_by_role("button", name="Play", exact=True).press("Enter")
    page.wait_for_function("window.asked.length === 2")
    say(page, far(3, "reading"))
    expect(form).to_contain_text("Reading lines: 3 of 1000")
    form.get_by_role("button", name="Cancel").click()
    expect(form.get_by_role("status")).to_contain_text("Cancelled: the program was not played.")
    page.wait_for_function("window.asked.length === 4")
    assert page.evaluate("window.asked")[2:] == [
        {"path": "/runs", "aborted": True}, {"path": "/hold"},
    ]  # fmt: skip
    assert page.url.endswith("#play")


def test_a_check_whose_coordinator_goes_or_refuses_says_so(page: Page) -> None:
    detail = "the process that checks programs ended; try again"
    say(page, far(9), {"problem": {"status": 409, "type": "urn:unisono:problem:planner",
                                   "detail": detail}})  # fmt: skip
    expect(page.get_by_text("The process that checks programs ended; try again.")).to_be_visible()
    check = page.get_by_role("button", name="Check", exact=True)
    check.press("Enter")
    say(page, far(9))
    page.evaluate("window.end()")
    expect(page.get_by_text("The coordinator does not answer")).to_be_visible()
    expect(check).to_have_attribute("aria-disabled", "false")
