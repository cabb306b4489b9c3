"""From a press on the page's controls to the paint that follows from it, by the browser itself.

By the W3C's Event Timing: all events of one press have one interaction, whose longest duration
counts. Interaction to next paint (INP) is the longest of them but for one in fifty, about the 98th
percentile (web.dev, from memory). The browser tells durations in steps of 8 ms, and none below 16.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final

from playwright.sync_api import ElementHandle, Error, Page

from coordinator.client import Client
from tests.bench.figures import Progress
from tests.bench.page_arm import BEGIN_US, play, ready
from tests.browser.chromium import chromium
from tests.e2e.harness import bench

LEAST_US: Final = 16_000.0
"""What the browser does not tell took less."""
MOVES: Final = "Watch, the arm moves"
VIEWS: Final = ("Watch", MOVES, "Teach", "Play")
SPEED_DEG_S: Final = 2.0
"""So slowly that it moves for as long as that is looked at."""
# Not: what switches motors off, and what moves the arm for long. A list that is chosen from is a
# window of the browser's own, and so is one for files.
CONTROLS: Final = "button:not(.grave), input:not([type=file]), textarea"
NOT_PRESSED: Final = ("Play", "Resume", "Home", "Log out", "Reload")
NOT_WHILE_IT_MOVES: Final = ("Hold", "Stop", "Take")
AFTER_MS: Final = (60, 160)
"""Between presses."""
END_MS: Final = 500
"""After the last one: what came of it is told by then."""
REACH_MS: Final = 500
_PICK: Final = """([controls, left_out, share]) => {
  const all = [...document.querySelectorAll(controls)].filter((one) => one.checkVisibility()
    && !one.disabled && !left_out.some((word) => one.textContent.trim().startsWith(word)));
  return all[Math.floor(share * all.length)];
}"""
_OBSERVE: Final = """() => {
  window.benchTold = [];
  const take = (entries) => {
    for (const { interactionId, duration, target } of entries)
      if (interactionId)
        window.benchTold.push([interactionId, 1000 * duration,
          target?.ariaLabel || target?.textContent.trim().slice(0, 30) || target?.localName || ""]);
  };
  const observer = new PerformanceObserver((list) => take(list.getEntries()));
  observer.observe({ type: "event", durationThreshold: 16 });
  window.benchTake = () => {
    take(observer.takeRecords());
    return window.benchTold;
  };
}"""
Told = tuple[int, float, str]
"""An event as the browser tells it: its interaction, duration in µs, and what it was at."""


@dataclass(slots=True)
class Paints:
    """Of one view. Times in µs."""

    paint_us: list[float] = field(default_factory=list)
    """Of each press; `LEAST_US` for less."""
    slowest: str = ""
    """At what was pressed, where the browser knows it still."""
    unreached: int = 0
    """What was covered, or gone, when it was to be pressed."""

    def take(self, told: Iterable[Told], presses: int) -> None:
        """Count so many presses: of each, the slowest of what came of it."""
        by_press: dict[int, float] = {}
        slowest_us = 0.0
        for number, duration_us, at in told:
            by_press[number] = max(by_press.get(number, 0.0), duration_us)
            if duration_us > slowest_us:
                slowest_us, self.slowest = duration_us, at
        self.paint_us = [*by_press.values(), *[LEAST_US] * (presses - len(by_press))]


def paints(joints: int, presses: int, seed: int) -> dict[str, Paints]:
    """Press the controls of each view so many times, in any order."""
    random = Random(seed)
    found: dict[str, Paints] = {}
    with TemporaryDirectory() as folder, bench(Path(folder), joints) as arm, _opened() as page:
        ready(arm, "quiet", seed)
        with Client(arm.url) as client:
            for view in VIEWS:
                if view == MOVES:
                    client.take_control()
                    play(arm, client, SPEED_DEG_S)
                    arm.until_moving(BEGIN_US)
                page.goto(f"{arm.url}/#{view.split(',')[0].lower()}")
                page.locator("main button").first.wait_for()
                found[view] = _presses(page, view, presses, random)
                if view == MOVES:
                    assert client.arm().phase == "moving"
                    client.stop("stop")
    return found


@contextmanager
def _opened() -> Iterator[Page]:
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.on("dialog", lambda dialog: dialog.dismiss())
        yield page


def _presses(page: Page, view: str, count: int, random: Random) -> Paints:
    found, progress = Paints(), Progress(f"presses on {view}", count)
    page.evaluate(_OBSERVE)
    done = 0
    while done < count:
        try:
            _press(page, _any(page, view, random), by_key=random.random() < 0.3)
        except Error:  # it was covered, or gone meanwhile
            found.unreached += 1
            continue
        page.wait_for_timeout(random.uniform(*AFTER_MS))
        done += 1
        progress.step()
    page.wait_for_timeout(END_MS)
    found.take(page.evaluate("() => benchTake()"), count)
    return found


def _any(page: Page, view: str, random: Random) -> ElementHandle:
    """One of the controls that are there now."""
    left_out = NOT_PRESSED + (NOT_WHILE_IT_MOVES if view == MOVES else ())
    found = page.evaluate_handle(_PICK, [CONTROLS, left_out, random.random()]).as_element()
    assert found is not None, "every view has controls"
    return found


def _press(page: Page, control: ElementHandle, by_key: bool) -> None:
    """One press: of the mouse, or of a key where the control has the focus."""
    if not by_key:
        control.click(timeout=REACH_MS)
        return
    control.focus()
    page.keyboard.press("a" if control.evaluate("c => c.matches('input, textarea')") else "Enter")
