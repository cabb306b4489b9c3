"""The panel beside Play: a program rehearsed before anything moves, by real rehearsals."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Open
from tests.browser.looks import looks_well
from tests.e2e.harness import bench

PATIENCE_MS = 60_000


@pytest.fixture(scope="module", name="url")
def coordinator_without_joints(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A rehearsal needs none."""
    with bench(tmp_path_factory.mktemp("arm")) as made:
        made.serve()
        yield made.url


def opened(
    open_page: Open, url: str, text: str, size: dict[str, int] = DESKTOP, bypass_csp: bool = False
) -> Page:
    page = open_page(f"{url}/#play", size=size, bypass_csp=bypass_csp)
    page.get_by_label("Name").fill("tray.nc")
    page.get_by_role("textbox", name="Program").fill(text)
    return page


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_a_rehearsal_shows_its_progress_what_to_expect_and_its_plot(
    open_page: Open, url: str, size: dict[str, int]
) -> None:
    page = opened(open_page, url, "G0 A-150\nM2\n", size=size, bypass_csp=True)
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_label("Network").select_option("quiet")
    panel.get_by_label("Times").fill("2")
    panel.get_by_role("button", name="Rehearse").click()
    expect(panel.get_by_text("Done: 2 of 2 rehearsals.")).to_be_visible(timeout=PATIENCE_MS)
    expect(panel.get_by_text("2 finished")).to_be_visible()
    expect(panel.get_by_role("row")).to_have_count(4)
    headings = panel.get_by_role("columnheader").all_inner_texts()
    first = panel.get_by_role("row").nth(1)
    figures = first.get_by_role("cell").all_inner_texts()
    shown = dict(zip(headings[1:], figures, strict=True))
    assert shown["start margin, 99 % have"].endswith("ms")
    assert shown["off its instant, 99 %"].endswith("µs")
    assert shown["buffer margin"] == "–"
    assert "°/s" in shown["speed / limit"]
    assert shown["highest temperature"] == "–"
    expect(panel.get_by_text("Highest temperature: not known (")).to_be_visible()
    plot = panel.get_by_role("img")
    assert plot.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0
    looks_well(page)
    panel.screenshot(path=SHOTS / f"rehearse-{size['width']}.png")
    page.reload()
    expect(panel.get_by_label("Network")).to_have_value("quiet")
    expect(panel.get_by_label("Times")).to_have_value("2")


def test_a_rehearsal_can_be_cancelled_and_keeps_what_is_known(open_page: Open, url: str) -> None:
    page = opened(open_page, url, "G0 A-150\nM2\n")
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_label("Times").fill("500")
    panel.get_by_role("button", name="Rehearse").click()
    expect(panel.get_by_role("progressbar")).to_be_visible()
    panel.get_by_role("button", name="Cancel").click()
    expect(panel.get_by_text("Cancelled: ")).to_be_visible(timeout=PATIENCE_MS)


def test_a_programs_mistakes_are_shown_with_their_lines(open_page: Open, url: str) -> None:
    page = opened(open_page, url, "G0 A999\nM2\n")
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_role("button", name="Rehearse").click()
    expect(panel.get_by_text("Line 1, column")).to_be_visible(timeout=PATIENCE_MS)


def test_what_was_rehearsed_is_not_shown_beside_another_program(open_page: Open, url: str) -> None:
    page = opened(open_page, url, "G0 A999\nM2\n")
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_role("button", name="Rehearse").click()
    expect(panel.get_by_text("Line 1, column")).to_be_visible(timeout=PATIENCE_MS)
    page.get_by_role("textbox", name="Program").fill("G0 A-150\nM2\n")
    expect(panel.get_by_text("it was changed since")).to_be_visible()
    expect(panel.get_by_text("Line 1, column")).to_have_count(0)


def test_what_was_rehearsed_is_not_shown_beside_other_switches(open_page: Open, url: str) -> None:
    page = opened(open_page, url, "/G2\nG0 A-150\nM2\n")
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_label("Times").fill("1")
    panel.get_by_role("button", name="Rehearse").press("Enter")
    expect(panel.get_by_text("Line 1, column 2")).to_be_visible(timeout=PATIENCE_MS)
    page.locator(".play").get_by_label("Block delete").press("Space")
    expect(panel.get_by_text("it was changed since")).to_be_visible()
    button = panel.get_by_role("button", name="Rehearse")
    expect(button).to_be_enabled()  # on a slow machine the coordinator may be not heard for a while
    button.press("Enter")
    expect(panel.get_by_text("Done: 1 of 1 rehearsals.")).to_be_visible(timeout=PATIENCE_MS)


@pytest.mark.parametrize("wrong", ["", "0", "-3", "501", "2.5"])
def test_a_number_of_times_that_is_none_is_told_and_rehearses_nothing(
    open_page: Open, url: str, wrong: str
) -> None:
    page = opened(open_page, url, "G0 A-150\nM2\n")
    panel = page.get_by_role("region", name="Rehearse", exact=True)
    panel.get_by_label("Times").fill(wrong)
    told = f"Times is {wrong or 'empty'}, but must be 1 to 500."
    expect(panel.get_by_text(told)).to_be_visible()
    expect(panel.get_by_role("button", name="Rehearse")).to_be_disabled()
