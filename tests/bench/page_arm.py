"""The page before a real arm: software joints, a coordinator, and Chromium, each a process."""

import contextlib
import os
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, Final

from playwright.sync_api import Page
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from coordinator.client import Client, Refused
from coordinator.config.arm import load_arm
from coordinator.config.settings import API_PREFIX
from tests.bench.figures import Progress
from tests.bench.page_clock import PageClock, braking_us, latencies_us, page_clock
from tests.browser.chromium import chromium
from tests.e2e.harness import Bench, bench, until
from tests.quick_arm import ACCELERATION_DEG_S2

ENDS_DEG: Final = (-150.0, 150.0)
SPEED_DEG_S: Final = 10.0
WATCH_SPEED_DEG_S: Final = 5.0
BEGIN_US: Final = 800_000
"""Path time behind a start's ramp and the move's own: from there on the speed is even."""
AT_RANDOM_S: Final = 0.3
EXCHANGES: Final = 20
PATIENCE_S: Final = 180.0
WATCH_S: Final = 8.0

_WATCH_LANES: Final = """() => {
  const words = new Map();
  window.benchSeen = [];
  window.benchClicks = [];
  const look = () => {
    const ms = performance.now();
    for (const lane of document.querySelectorAll(".lane")) {
      const name = lane.querySelector(".name").firstChild.textContent.trim();
      const word = lane.querySelector(".state").textContent.trim();
      if (words.get(name) !== word) window.benchSeen.push([name, word, ms]);
      words.set(name, word);
    }
  };
  look();
  new MutationObserver(look).observe(document.getElementById("page"),
    { subtree: true, childList: true, characterData: true });
  addEventListener("click", (event) => window.benchClicks.push(event.timeStamp), true);
}"""
_TAKE_SEEN: Final = "() => [window.benchSeen.splice(0), window.benchClicks.splice(0)]"


@dataclass(slots=True)
class Shown:
    """What the page showed and did on one network. Times in µs."""

    start_us: list[float] = field(default_factory=list)
    """From a joint's true start until its lane said `moving`."""
    rest_us: list[float] = field(default_factory=list)
    """From its true rest after a stop until its lane said `stopped`."""
    unseen: int = 0
    """Changes that the page did not show before the next one."""
    stop_us: list[float] = field(default_factory=list)
    """From a click on Stop until the last joint braked."""
    rtt_us: list[float] = field(default_factory=list)
    """Median round trip of each joint's link at each stop."""
    error_us: list[float] = field(default_factory=list)
    """By which the page's clock may be off."""
    tries: int = 0
    """Runs that were held, or refused, before a stop."""


def shown(network: str, joints: int, stops: int, seed: int) -> Shown:
    """Start and stop by the page so many times over one kind of network."""
    found, random = Shown(), Random(seed)
    progress = Progress(f"{network}, stops by the page", stops)
    with (
        TemporaryDirectory() as folder,
        bench(Path(folder), joints) as arm,
        chromium() as browser,
    ):
        ready(arm, network, seed)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(arm.url)
        page.locator(".lane").nth(joints - 1).wait_for()
        page.evaluate(_WATCH_LANES)
        with Client(arm.url) as client:
            for _ in range(stops):
                _one_stop(arm, client, page, random, found)
                progress.step()
    return found


def cpu_by_watchers(watchers: tuple[int, ...], joints: int, seed: int) -> dict[int, float]:
    """The coordinator's processor time per time while the arm moves, by how many watch."""
    with TemporaryDirectory() as folder, bench(Path(folder), joints) as arm:
        ready(arm, "quiet", seed)
        pid = arm.processes[-1].pid
        with Client(arm.url) as client:
            play(arm, client, WATCH_SPEED_DEG_S)
            arm.until_moving(BEGIN_US)
            found = {}
            for count in watchers:
                with _watched(arm.url, count):
                    found[count] = _cpu(pid)
            assert client.arm().phase == "moving"
            client.stop("stop")
    return found


def ready(arm: Bench, network: str, seed: int) -> None:
    """All joints of an arm served, and homed."""
    arm.simulate(network=network, seed=seed)
    arm.serve()
    arm.until_linked()
    until(lambda: arm.unisono("home").returncode == 0, "all joints homed", PATIENCE_S)


def _one_stop(arm: Bench, client: Client, page: Page, random: Random, found: Shown) -> None:
    """Play, click on Stop in mid-move, and take down what was true and what was shown."""
    page.evaluate(_TAKE_SEEN)
    before, number = _in_mid_move(arm, client, found)
    page.wait_for_timeout(1000 * AT_RANDOM_S * random.random())
    moving = client.arm().joints
    clock = clock_of(page)
    page.get_by_role("button", name="Stop", exact=True).click()
    truths = arm.until_truth("stop", *arm.joints, since=before)
    page.wait_for_function(
        "() => [...document.querySelectorAll('.lane .state')]"
        ".every((one) => one.textContent.trim() === 'stopped')"
    )
    seen, clicks = page.evaluate(_TAKE_SEEN)
    starts = arm.until_truth("start", *arm.joints, since=before)
    late = latencies_us([*starts, *truths], [(a, b, c) for a, b, c in seen], clock)
    found.start_us += late["start"]
    found.rest_us += late["stop"]
    found.unseen += 2 * len(arm.joints) - len(late["start"]) - len(late["stop"])
    found.error_us.append(clock.error_us)
    if client.report(number).holds:  # it slowed down before it was told to stop
        found.tries += 1
        return
    speeds = {joint.name: joint.velocity_deg_s or 0.0 for joint in moving}
    braked = [
        braking_us(line["at_ns"], speeds[line["joint"]], ACCELERATION_DEG_S2) for line in truths
    ]
    found.stop_us.append(max(braked) - clock.raw_us(clicks[-1]))
    found.rtt_us += [joint.rtt_p50_us for joint in moving if joint.rtt_p50_us is not None]


def _in_mid_move(arm: Bench, client: Client, found: Shown) -> tuple[int, int]:
    """Be in mid-move: lines of the truth log before it, and the run's number."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        before = len(arm.truths())
        try:
            number = play(arm, client, SPEED_DEG_S)
        except Refused:
            found.tries += 1
            time.sleep(1)
            continue
        while (now := client.arm()).phase not in ("held", "idle"):
            if now.phase == "moving" and now.run and (now.run.path_us or 0) >= BEGIN_US:
                return before, number
            time.sleep(0.02)
        found.tries += 1
        client.stop("stop")
    raise TimeoutError(f"no run was in mid-move within {PATIENCE_S:g} s")


def play(arm: Bench, client: Client, speed_deg_s: float) -> int:
    """Begin a long move at about this speed; the run's number."""
    at_deg = client.arm().joints[0].position_deg
    assert at_deg is not None, "it is homed"
    target = max(ENDS_DEG, key=lambda one: abs(one - at_deg))
    places = " ".join(f"{word}{target:g}" for word in load_arm(arm.arm).words)
    per_minute = 60 * speed_deg_s / abs(target - at_deg)
    return client.play("there.nc", f"G93 G1 F{per_minute:.4f} {places}\nM2\n")


def clock_of(page: Page) -> PageClock:
    """How the page's clock stands to the raw one, now."""
    exchanges = []
    for _ in range(EXCHANGES):
        before = _raw_us()
        page_ms: float = page.evaluate("() => performance.now()")
        exchanges.append((before, page_ms, _raw_us()))
    return page_clock(exchanges)


def _raw_us() -> float:
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) / 1000


@contextlib.contextmanager
def _watched(url: str, count: int) -> Iterator[None]:
    """So many watchers, each reading all that it is told."""
    address = url.replace("http", "ws", 1) + f"{API_PREFIX}/feed"
    with contextlib.ExitStack() as stack:
        for _ in range(count):
            feed = stack.enter_context(connect(address, compression=None))
            threading.Thread(target=_read, args=(feed,), daemon=True).start()
        yield


def _read(feed: Any) -> None:
    with contextlib.suppress(ConnectionClosed):
        for _ in feed:
            pass


def _cpu(pid: int) -> float:
    """Processor time per time of a process, all its threads, for a while from now."""
    before_s, began_s = cpu_s(pid), time.monotonic()
    time.sleep(WATCH_S)
    return (cpu_s(pid) - before_s) / (time.monotonic() - began_s)


def cpu_s(pid: int) -> float:
    """Processor time that a process has taken so far, with all its threads."""
    # proc(5): the 14th and 15th field, user and system time in ticks; the name may have blanks.
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
