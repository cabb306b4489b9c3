"""Joints that are switched on while somebody watches."""

from pathlib import Path

from playwright.sync_api import expect

from tests.browser.conftest import Open
from tests.e2e.harness import bench

PATIENCE_MS = 60_000


def test_joints_appear_in_the_page_as_they_are_found(tmp_path: Path, open_page: Open) -> None:
    with bench(tmp_path) as arm:
        arm.serve()
        page = open_page(arm.url)
        states = page.locator(".lane .state")
        expect(states).to_have_text(["not there"] * 3)
        expect(page.locator(".runbar")).to_contain_text(f"not there: {', '.join(arm.joints)}")
        first, second, third = arm.joints
        arm.simulate(second)
        expect(states).to_have_text(["not there", "not homed", "not there"], timeout=PATIENCE_MS)
        arm.simulate(first, third)
        expect(states).to_have_text(["not homed"] * 3, timeout=PATIENCE_MS)
        expect(page.locator(".runbar")).to_contain_text("no joint is homed")
