"""The demo arm plays the example that the page offers; the picture in README.md is taken here.

It is left in build/browser, from where whoever changes the page copies it to docs/.
"""

import re
import secrets
from pathlib import Path

from playwright.sync_api import expect

from coordinator.config.settings import DEMO_ARM, DEMO_PROGRAM
from tests.browser.conftest import SHOTS, Open
from tests.browser.homing import home_all
from tests.e2e.harness import Bench, bench

PATIENCE_MS = 90_000
BEYOND_TRAY = re.compile(r"line (1[3-9]|2\d|3\d) of")
"""The first seedling is on its way."""


def _own_arm(made: Bench) -> None:
    """The demo arm with ids of its own, and with quicker homing than its real counterpart."""
    text = DEMO_ARM.read_text(encoding="utf-8").replace("3c71bf4a", secrets.token_hex(4))
    for key, speed in (("fast_deg_s", 60), ("slow_deg_s", 15)):
        text = re.sub(rf"\b{key} = \d+", f"{key} = {speed}", text)
    made.arm.write_text(text, encoding="utf-8")


def test_the_example_plays_on_the_demo_arm(tmp_path: Path, open_page: Open) -> None:
    with bench(tmp_path) as made:
        _own_arm(made)
        made.simulate()
        made.serve()
        made.until_linked()
        page = open_page(made.url, size={"width": 1280, "height": 870})
        home_all(page, lambda button: button.click())
        bar, sign = page.locator(".runbar"), page.locator(".sign")
        expect(bar).to_contain_text("all joints are homed", timeout=PATIENCE_MS)
        expect(sign).to_contain_text("at rest")

        page.get_by_role("link", name="Play", exact=True).click()
        page.get_by_role("button", name="Load the example").click()
        page.get_by_role("button", name="Check").click()
        expect(page.get_by_role("heading", name="No mistakes")).to_be_visible()
        page.screenshot(path=SHOTS / "checked.png", full_page=True)
        page.get_by_role("button", name="Play", exact=True).click()
        expect(sign).to_contain_text("moving", timeout=PATIENCE_MS)
        expect(sign).to_contain_text(DEMO_PROGRAM.name)
        expect(bar.locator(".line")).to_have_text(BEYOND_TRAY, timeout=PATIENCE_MS)
        expect(page.locator(".legend")).to_contain_text("guaranteed at most")
        page.screenshot(path=SHOTS / "watch.png")
        page.get_by_role("button", name="Stop", exact=True).click()
        ended = page.get_by_role("region", name="The run that ended")
        expect(ended).to_contain_text("stopped", timeout=PATIENCE_MS)
        page.screenshot(path=SHOTS / "report.png", full_page=True)
