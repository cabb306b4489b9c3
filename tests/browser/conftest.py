"""A browser, and what the tests of the page show it."""

import contextlib
import json
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx2
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
    expect,
)

from coordinator.api.page import add_page
from coordinator.client import Client
from tests.browser import canned
from tests.browser.chromium import LIGHT, chromium
from tests.browser.hands import Finger, Keys, Mouse
from tests.e2e.harness import Bench, linked_bench, until

SHOTS = Path(__file__).parents[2] / "build" / "browser"
DESKTOP = {"width": 1280, "height": 800}
PHONE = {"width": 360, "height": 740}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Ended with each module: other tests need the event loop that it holds."""
    with chromium(LIGHT) as opened:
        yield opened


@pytest.fixture(scope="session")
def files() -> Iterator[str]:
    """The page's files as the coordinator serves them, without a coordinator; their address.

    What pages ask before anything is pressed is answered too. A page whose questions a test answers
    by `route` goes through the test with each of its files: that costs as much as all else it does
    at its start.
    """
    app = FastAPI(openapi_url=None)
    for path, answer in canned.ANSWERS.items():
        app.add_api_route(f"/api/v1{path}", answer, methods=["GET"])
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


@pytest.fixture(scope="module")
def arm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Three joints and their coordinator, homed once, for all tests of a module."""
    with linked_bench(tmp_path_factory.mktemp("arm")) as made:
        made.home()
        yield made


def rests(arm: Bench) -> bool:
    """Whether the arm is at rest, as people are told."""
    return str(arm.arm_now()["condition"]["word"]) == "at rest"


def until_free(arm: Bench) -> None:
    """Wait until nothing moves, and see to it that nobody has control."""
    with Client(arm.url) as client:
        run = client.arm().run
        if run is not None and run.phase in ("held", "paused"):
            client.stop()  # a test that failed left it
        client.wait_until_at_rest()
        client.take_control()
        client.release_control()


def edited(arm: Bench, edit: dict[str, Any]) -> dict[str, Any]:
    """An edit of what is taught and kept, by somebody without a page; what holds then."""
    with httpx2.Client(headers={"Unisono-Client": "somebody-else-entirely"}) as http:
        revision = http.get(f"{arm.url}/api/v1/taught").json()["revision"]
        body = {"revision": revision, "edit": edit}
        answer = http.post(f"{arm.url}/api/v1/taught/edits", json=body)
        assert answer.status_code == 200, answer.text
        http.post(f"{arm.url}/api/v1/control/release")
    found: dict[str, Any] = answer.json()
    return found


Open = Callable[..., Page]
"""Opens a page: `open_page(url, size, touch, bypass_csp, any_certificate, before)`."""


HANDS = ["mouse-1280", "finger-360", "keys-1280"]
"""What presses, and how wide the page is."""


@contextlib.contextmanager
def view_for(
    hand: str, arm: Bench, open_page: Open, view: str, heading: str
) -> Iterator[tuple[Page, Mouse]]:
    """A view of the page before real joints, and one of HANDS; control is free behind it."""
    kind, width = hand.split("-")
    page = open_page(
        f"{arm.url}/#{view}", size=DESKTOP if width == "1280" else PHONE, touch=kind == "finger"
    )
    expect(page.get_by_role("heading", name=heading)).to_be_visible(timeout=60_000)
    yield page, {"mouse": Mouse, "finger": Finger, "keys": Keys}[kind](page)
    page.goto("about:blank")
    until_free(arm)


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Opens pages for one test; see `pages`."""
    with pages(browser) as opened:
        yield opened


@contextlib.contextmanager
def pages(browser: Browser) -> Iterator[Open]:
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
    """Let what the feed said stay new, however slow the machine is: the page's time stands.

    Nor is a feed taken for dead that says only what a test tells it to: what the page's hand wishes
    while it comes back is said to nobody.
    """
    page.add_init_script(
        "performance.now = () => 1000;"
        "{ const soon = setTimeout; window.setTimeout = (work, ms, ...more) =>"
        " ms >= 3000 ? 0 : soon(work, ms, ...more); }"
    )


class Feed:
    """A feed that says what a test tells it to."""

    def __init__(self, *first: dict[str, Any]) -> None:
        self.first = first
        self.sockets: list[WebSocketRoute] = []
        self.wishes: list[dict[str, Any]] = []
        """What the page's hand said, oldest first."""

    def attach(self, page: Page) -> None:
        """Answer the page's feed; `files` answers its questions about who it is."""
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
        route.on_message(lambda text: self.wishes.append(json.loads(text)))
        for message in self.first:
            route.send(json.dumps(message))
