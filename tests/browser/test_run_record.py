"""A run's record in a browser: read as it was written, printed on both sheets, light on paper.

Pictures and PDF files are left in build/browser.
"""

import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from coordinator.config.settings import DEMO_PROGRAM
from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.run.report_snapshot import report_snapshot
from coordinator.run_record.record import WhatIsKept, run_record
from tests.as_json import as_json
from tests.browser.conftest import SHOTS
from tests.browser.looks import violations
from tests.coordinator.core.kit import finish, homed_world, moving, until_phase

HOSTILE = "</code></li></ol><script>document.title = 'taken'</script><img src=x onerror='1'>"


def _kept(**changed: Any) -> WhatIsKept:
    """Of a run in virtual time that was held and resumed."""
    world = homed_world("home")
    number = moving(world, after_us=3_000_000)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    finish(world)
    known = {
        "arm": "bench arm", "arm_file_sha256": "9f86d081" * 8, "unisono_version": "0.1.0",
        "asked_by": "a page on a computer", "began_utc": "2026-05-01T10:00:20+00:00",
        "ended_utc": "2026-05-01T10:00:41+00:00", "unwritten": [],
    }  # fmt: skip
    report = {**as_json(report_snapshot(world.core.reports[number])), **known, **changed}
    journal = [
        {"at_us": report["began_at_us"], "level": "info", "message": "play tray.nc, run 1",
         "who": "a page on a computer"},
        {"at_us": report["holds"][0]["at_us"], "level": "info", "message": "hold",
         "who": "a page on a touch screen"},
    ]  # fmt: skip
    text = DEMO_PROGRAM.read_text(encoding="utf-8") + f"({HOSTILE})\n"
    return WhatIsKept(report, text, journal, "2026-05-02T08:00:00+00:00", "0.1.0")


@pytest.fixture(scope="module", name="record")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("record") / "run-1.html"
    file.write_text(run_record(_kept(name=HOSTILE)), encoding="utf-8", newline="")
    return file


@pytest.fixture(name="page")
def shown(browser: Browser, record: Path) -> Any:
    context = browser.new_context(color_scheme="dark", viewport={"width": 1000, "height": 1300})
    page = context.new_page()
    page.goto(record.as_uri())
    yield page
    context.close()


def test_a_browser_reads_what_expat_reads_and_runs_nothing(page: Page, record: Path) -> None:
    body = ET.fromstring(record.read_text(encoding="utf-8"))[1]
    assert page.evaluate("() => document.body.textContent").strip() == "".join(body.itertext())
    assert page.title().endswith(HOSTILE)
    count = "() => document.querySelectorAll('script, img, link, iframe').length"
    assert page.evaluate(count) == 0
    # Chromium's own XML reader finds it well-formed too.
    is_xml = """(text) => new DOMParser().parseFromString(text, "application/xhtml+xml")
        .getElementsByTagName("parsererror").length"""
    assert page.evaluate(is_xml, record.read_text(encoding="utf-8")) == 0


def test_it_is_dark_on_a_dark_screen_and_black_on_white_on_paper(page: Page) -> None:
    colours = """() => { const style = getComputedStyle(document.body);
        return [style.color, style.backgroundColor,
                getComputedStyle(document.documentElement).colorScheme]; }"""
    assert page.evaluate(colours)[2] == "light dark"
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(colours) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)", "light"]
    page.screenshot(path=SHOTS / "run-record-print.png", full_page=True)


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
def test_it_prints_on_a_sheet_without_being_cut_off(page: Page, sheet: str) -> None:
    SHOTS.mkdir(parents=True, exist_ok=True)
    made = page.pdf(format=sheet, path=SHOTS / f"run-record-{sheet}.pdf")
    assert made.startswith(b"%PDF-")
    pages = len(re.findall(rb"/Type /Page\b", made))
    assert 2 <= pages <= 8
    page.emulate_media(media="print")
    # 210 and 216 mm less 15 mm on each side, at 96 px to the inch.
    page.set_viewport_size({"width": 680 if sheet == "A4" else 702, "height": 1000})
    too_wide = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(too_wide) <= 0


def test_it_can_be_read_by_everybody_on_a_screen(browser: Browser, record: Path) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740}, bypass_csp=True)
    page = context.new_page()
    page.goto(record.as_uri())
    assert violations(page) == []
    page.screenshot(path=SHOTS / "run-record-360.png", full_page=True)
    context.close()
