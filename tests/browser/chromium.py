"""Chromium as the system has it, for the tests of the page and for its figures."""

import contextlib
import shutil
from collections.abc import Iterator, Sequence
from typing import Final

from playwright.sync_api import Browser, sync_playwright

_FLAGS: Final = (
    "--no-sandbox", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-quic", "--no-first-run",
)  # fmt: skip


WHOLE: Final = ("chromium",)
"""As people have it, for figures."""
LIGHT: Final = ("chromium-headless-shell", *WHOLE)
"""The same engine without windows, where there is such a package: a page takes less than half the
processor time, and the tests hundreds of pages."""


@contextlib.contextmanager
def chromium(commands: Sequence[str] = WHOLE) -> Iterator[Browser]:
    """One browser, the first of these that is there. It holds its thread's event loop."""
    path = next(filter(None, map(shutil.which, commands)), None)
    assert path is not None, "chromium is missing: `make system` installs it"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(_FLAGS))
        yield browser
        browser.close()
