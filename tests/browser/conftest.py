"""A browser, and what the tests of the page show it."""

import json
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Response,
    WebSocketRoute,
)

from coordinator.api.page import add_page
from tests.browser import canned
from tests.browser.chromium import chromium
from tests.e2e.harness import until

SHOTS = Path(__file__).parents[2] / "build" / "browser"
DESKTOP = {"width": 1280, "height": 800}
PHONE = {"width": 360, "height": 740}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Ended with each module: other tests need the event loop that it holds."""
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="session")
def files() -> Iterator[str]:
    """The page's files as the coordinator serves them, without a coordinator; their address."""
    app = FastAPI(openapi_url=None)
    add_page(app)
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, lifespan="off", ws="none"))
    serving = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    serving.start()
    until(lambda: server.started, "the files are served")
    yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    serving.join()
    listener.close()


Open = Callable[..., Page]
"""Opens a page: `open_page(url, size, touch, bypass_csp, any_certificate, before)`."""


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Opens pages that must write no error to their console, violations of the policy among them.

    What fails to load is a message of the browser's own: a coordinator that is killed answers
    nothing, and one that refuses says so by its status. But what is not there, and what the
    coordinator makes a mistake at, no page may ask for.
    """
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def console(message: ConsoleMessage) -> None:
        expected = ("net::ERR", "Failed to load resource")
        if message.type == "error" and not any(text in message.text for text in expected):
            errors.append(message.text)

    def answered(response: Response) -> None:
        if response.status in (404, 405) or response.status >= 500:
            errors.append(f"{response.status} {response.url}")

    def opened(
        url: str,
        size: dict[str, int] | None = None,
        touch: bool = False,
        bypass_csp: bool = False,
        any_certificate: bool = False,
        before: Callable[[Page], None] | None = None,
    ) -> Page:
        width_height: Any = size or DESKTOP
        context = browser.new_context(
            viewport=width_height,
            has_touch=touch,
            bypass_csp=bypass_csp,
            ignore_https_errors=any_certificate,
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("console", console)
        page.on("response", answered)
        page.on("pageerror", lambda error: errors.append(str(error)))
        if before is not None:
            before(page)
        page.goto(url)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert errors == []


def stay_new(page: Page) -> None:
    """Let what the feed said stay new, however slow the machine is: the page's time stands."""
    page.add_init_script("performance.now = () => 1000;")


class Feed:
    """A feed that says what a test tells it to."""

    def __init__(self, *first: dict[str, Any]) -> None:
        self.first = first
        self.sockets: list[WebSocketRoute] = []

    def attach(self, page: Page) -> None:
        """Answer the page's feed, and its questions about who it is."""
        page.route("**/api/v1/session", lambda route: route.fulfill(json={"role": "operate"}))
        page.route("**/api/v1/joints/*/homing", lambda route: route.fulfill(json=canned.homing()))
        page.route("**/api/v1/control", lambda route: route.fulfill(json={"you": "me"}))
        last = {"network": "home", "seeds": 20}
        page.route("**/api/v1/rehearsals", lambda route: route.fulfill(json=last))
        page.route_web_socket("**/api/v1/feed**", self._answer)

    def cut(self) -> None:
        """End the connection, as a coordinator that ends does, and answer none from now on."""
        self.first = ()
        self.sockets[-1].close()

    def say(self, message: dict[str, Any]) -> None:
        """One more message, for who comes later too: a page that heard nothing comes anew."""
        self.first = (message,) if message["type"] == "whole" else (*self.first, message)
        self.sockets[-1].send(json.dumps(message))

    def _answer(self, route: WebSocketRoute) -> None:
        self.sockets.append(route)
        for message in self.first:
            route.send(json.dumps(message))
