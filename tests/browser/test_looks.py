"""How the page looks with an arm that is made up; pictures are left in build/browser."""

import pytest

from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_a_playing_arm_shows_a_lane_for_each_joint(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    feed = Feed(canned.whole())
    page = open_page(files, size=size, before=feed.attach)
    page.wait_for_selector(".lane")
    assert page.locator(".lane .name").count() == 6
    page.screenshot(path=SHOTS / f"canned-{size['width']}.png", full_page=True)
