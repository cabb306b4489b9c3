"""The page on another address than loopback: a token is asked for, and control is taken over."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open
from tests.e2e.harness import Bench, bench
from tests.e2e.test_away import serve_away

PATIENCE_MS = 60_000


@pytest.fixture(name="bench")
def bench_of_three(tmp_path: Path) -> Iterator[Bench]:
    with bench(tmp_path) as made:
        yield made


@pytest.fixture(name="ready")
def away(bench: Bench) -> dict[str, Any]:
    """A coordinator on that address, its joints, and what it said of itself."""
    bench.simulate()
    return serve_away(bench)


def log_in(page: Page, token: str) -> None:
    page.locator(".login input").fill(token)
    page.get_by_role("button", name="Go on").click()


def test_a_token_opens_the_page_control_is_taken_over_and_a_void_token_closes_it(
    bench: Bench, ready: dict[str, Any], open_page: Open
) -> None:
    # Two people who have accepted the certificate.
    laptop, phone = (open_page(ready["url"], any_certificate=True) for _ in range(2))
    log_in(laptop, "guess")
    expect(laptop.locator(".login").get_by_role("alert")).to_contain_text(
        "The token is wrong", timeout=PATIENCE_MS
    )
    log_in(laptop, ready["tokens"]["operate"])
    log_in(phone, ready["tokens"]["operate"])
    for page in (laptop, phone):
        expect(page.locator(".control")).to_contain_text("Nobody commands", timeout=PATIENCE_MS)

    laptop.get_by_role("button", name=re.compile("^Home ")).first.click()
    expect(laptop.locator(".control")).to_contain_text("You command", timeout=PATIENCE_MS)
    expect(phone.locator(".control")).to_contain_text(
        "a page on a computer commands", timeout=PATIENCE_MS
    )
    phone.get_by_role("button", name="Take over").click()
    expect(phone.locator(".control")).to_contain_text("You command", timeout=PATIENCE_MS)
    expect(laptop.locator(".control")).to_contain_text(
        "a page on a computer commands", timeout=PATIENCE_MS
    )

    (kept,) = [one for one in laptop.context.cookies() if one["name"] == "__Host-unisono"]
    assert (kept["httpOnly"], kept["secure"], kept["sameSite"]) == (True, True, "Strict")
    assert "unisono" not in laptop.evaluate("document.cookie")

    bench.ask("token", "new", "--data", str(bench.data), "--role", "operate")
    for page in (laptop, phone):
        expect(page.locator(".login input")).to_be_visible(timeout=PATIENCE_MS)
