"""Chromium as the system has it, for the tests of the page and for its figures."""

import contextlib
import shutil
from collections.abc import Iterator
from typing import Final

from playwright.sync_api import Browser, sync_playwright

_FLAGS: Final = (
    "--no-sandbox", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-quic", "--no-first-run",
)  # fmt: skip


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """One browser. It holds the thread's event loop until it ends."""
    path = shutil.which("chromium")
    assert path is not None, "chromium is missing: `make system` installs it"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(_FLAGS))
        yield browser
        browser.close()
