"""The page before a feed that is made up: its frames, and its memory after much feed.

The feed is served as the coordinator serves its own, at its pace or as fast as the page takes it.
"""

import asyncio
import contextlib
import math
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import orjson
import uvicorn
from fastapi import FastAPI, WebSocket, WebSocketDisconnect
from playwright.sync_api import CDPSession, Page

from coordinator.api.live_feed import AHEAD_US, MOVING_S
from coordinator.api.page import add_page
from coordinator.config.settings import API_PREFIX, LOOPBACK
from tests.browser import canned
from tests.browser.chromium import chromium
from tests.e2e.harness import until

STEP_US: Final = round(MOVING_S * 1e6)
A_MINUTE: Final = 60_000_000 // STEP_US
"""Messages."""
PATIENCE_MS: Final = 1_200_000
_INTERVALS: Final = """(seconds) => new Promise((done) => {
  const found = [];
  let first = null, before = null;
  const step = (ms) => {
    if (before !== null) found.push(1000 * (ms - before));
    before = ms;
    first ??= ms;
    if (ms - first < 1000 * seconds) requestAnimationFrame(step);
    else done(found);
  };
  requestAnimationFrame(step);
})"""


@dataclass(frozen=True, slots=True)
class Frames:
    """How the page drew for a while. Times in µs."""

    interval_us: list[float]
    """From one animation frame to the next."""
    script_us: float
    """Time in scripts per animation frame, of the feed's messages too."""
    task_us: float
    """Time of the page's whole main thread per animation frame: scripts, style, layout, paint."""


class CannedFeed:
    """What one page is told: an arm that moves, a message each step."""

    def __init__(self, joints: int) -> None:
        self._lanes = [canned.joint(index) for index in range(joints)]
        self._rush_until = self._seq = 1

    def rush(self, messages: int) -> str:
        """Send so many as fast as they are taken; the arm's name once all have come."""
        self._rush_until = self._seq + messages
        return f"told {self._rush_until}"

    def next(self) -> dict[str, Any]:
        """The next message."""
        self._seq += 1
        passed_us = STEP_US * self._seq
        now_us, path_us = canned.NOW_US + passed_us, 10_000_000 + passed_us
        told: dict[str, Any] = {"run": canned.run(path_us=path_us, line=self._seq // 40)}
        if passed_us % AHEAD_US == 0:
            told["preview"] = {
                "at_us": now_us,
                "step_us": 200_000,
                "deg": {
                    lane["name"]: [_deg(k, passed_us / 1e6 + 0.2 * step) for step in range(16)]
                    for k, lane in enumerate(self._lanes)
                },
            }
        if self._seq == self._rush_until:
            told["arm"] = f"told {self._seq}"
        notes = [canned.note(now_us, "Something happened.")] if self._seq % 200 == 0 else []
        joints = {
            lane["name"]: {
                "position_deg": _deg(k, passed_us / 1e6),
                "heard_at_us": now_us - 20_000,
                "temperature_c": 36 + 2 * math.sin(passed_us / 1e8 + k),
                "path_us": path_us,
                "permit_us": path_us + 600_000,
                "buffered_us": path_us + 2_600_000,
            }
            for k, lane in enumerate(self._lanes)
        }
        return canned.change(self._seq, at_us=now_us, set=told, joints=joints, notes=notes)

    async def tell(self, watcher: WebSocket) -> None:
        """Tell one watcher, until it goes."""
        self._seq += 1
        whole = canned.whole(len(self._lanes), self._seq)
        whole["state"]["now_us"] += STEP_US * self._seq
        loop = asyncio.get_running_loop()
        due = loop.time()
        with contextlib.suppress(WebSocketDisconnect):
            await watcher.send_text(orjson.dumps(whole).decode())
            while True:
                if self._seq >= self._rush_until:
                    due = max(due + MOVING_S, loop.time())
                    await asyncio.sleep(due - loop.time())
                await watcher.send_text(orjson.dumps(self.next()).decode())


def _deg(joint: int, s: float) -> float:
    return round(10 * joint - 60 + 25 * math.sin(s * (0.5 + joint / 20)), 2)


def frames(joints: int, seconds: float) -> Frames:
    """Draw an arm that moves, for a while."""
    with _page(CannedFeed(joints), joints) as page:
        tool = _tool(page)
        before = _metrics(tool)
        intervals: list[float] = page.evaluate(_INTERVALS, seconds)
        after = _metrics(tool)
    script_us, task_us = (
        1e6 * (after[name] - before[name]) / len(intervals)
        for name in ("ScriptDuration", "TaskDuration")
    )
    return Frames(intervals, script_us, task_us)


def heap_bytes(joints: int, minutes: tuple[int, ...]) -> list[tuple[float, float]]:
    """The page's heap in use, without garbage, after so many minutes of feed each; and how many
    seconds it took the page to take in what came since the one before.
    """
    feed, found, done = CannedFeed(joints), [], 0
    with _page(feed, joints) as page:
        tool = _tool(page)
        for minute in minutes:
            began_ms = page.evaluate("() => performance.now()")
            name = feed.rush(A_MINUTE * (minute - done))
            done = minute
            page.get_by_role("heading", name=name, exact=True).wait_for(timeout=PATIENCE_MS)
            took_ms = page.evaluate("() => performance.now()") - began_ms
            tool.send("HeapProfiler.collectGarbage")
            used: float = tool.send("Runtime.getHeapUsage")["usedSize"]
            found.append((used, took_ms / 1000))
    return found


@contextlib.contextmanager
def _page(feed: CannedFeed, joints: int) -> Iterator[Page]:
    """A page that watches this feed."""
    with _served(feed) as url, chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(url)
        page.locator(".lane").nth(joints - 1).wait_for()
        yield page
        page.close()


@contextlib.contextmanager
def _served(feed: CannedFeed) -> Iterator[str]:
    """The page's files and a feed, without a coordinator; their address."""
    app = FastAPI(openapi_url=None)

    @app.get(f"{API_PREFIX}/session")
    async def session() -> dict[str, str]:
        return {"role": "operate"}

    @app.get(f"{API_PREFIX}/control")
    async def control() -> dict[str, str]:
        return {"you": "me"}

    @app.websocket(f"{API_PREFIX}/feed")
    async def watch(watcher: WebSocket) -> None:
        await watcher.accept()
        await feed.tell(watcher)

    add_page(app)
    config = uvicorn.Config(app, log_config=None, lifespan="off", ws_per_message_deflate=False)
    config.timeout_graceful_shutdown = 1
    server = uvicorn.Server(config)
    with socket.create_server((LOOPBACK, 0)) as listener:
        serving = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        serving.start()
        until(lambda: server.started, "the page is served")
        try:
            yield f"http://{LOOPBACK}:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            serving.join()


def _tool(page: Page) -> CDPSession:
    """The browser's own tools (Chrome DevTools Protocol)."""
    tool = page.context.new_cdp_session(page)
    tool.send("Performance.enable")
    return tool


def _metrics(tool: CDPSession) -> dict[str, float]:
    found = tool.send("Performance.getMetrics")["metrics"]
    return {one["name"]: one["value"] for one in found}
