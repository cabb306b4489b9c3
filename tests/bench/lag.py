"""How long joints take to begin to move, and to stand again, after a hand asked: by a key in
Chromium, by a gamepad there, and by the joint's own control.
"""

import contextlib
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final

from playwright.sync_api import Page

from coordinator.client import Client
from protocol.light import ConditionWord
from tests.bench.figures import Progress
from tests.bench.lag_joints import LOOK_S, Joints, Motion, watched_joints
from tests.bench.page_arm import clock_of
from tests.bench.page_clock import PageClock
from tests.browser.chromium import chromium
from tests.browser.jogging import Gamepad, made_up_pads
from tests.e2e.harness import bench, until

HANDS: Final = ("key", "pad", "touch", "touch, turned on")
JOINT: Final = "turntable"
HELD_MS: Final = (250, 500)
"""For so long a control is held: it is cruising then, and a loss of the link is seldom in it."""
MOTION_S: Final = 5.0
"""A press that moved nothing for so long moves nothing."""
PATIENCE_S: Final = 180.0
_ENABLING: Final = 4
_WATCH_KEYS: Final = """() => {
  window.benchKeys = {};
  for (const what of ["keydown", "keyup"])
    addEventListener(what, (event) => {
      if (!event.repeat) window.benchKeys[what] = event.timeStamp;
    }, true);
}"""
_TAKE_KEY: Final = "(what) => window.benchKeys[what]"
# A push at an instant that has nothing to do with when the page looks at its gamepads.
_PUSH: Final = """([share, button, afterMs]) => new Promise((done) => setTimeout(() => {
  pushes(0, share, 0, [button]);
  done(performance.now());
}, afterMs))"""


@dataclass(frozen=True, slots=True)
class Press:
    """A control pressed and let go, and what truly moved. Raw clock, µs."""

    pressed_us: float
    let_go_us: float | None
    """None for a step, which ends by itself."""
    error_us: float
    """By which the two may be off."""
    rtt_us: float
    """The link's median round trip then."""
    motions: list[Motion]


@dataclass(slots=True)
class Lags:
    """Of one hand on one network. Times in µs."""

    begin_us: list[float] = field(default_factory=list)
    """From press to the beginning of motion."""
    stand_us: list[float] = field(default_factory=list)
    """From letting go to standing still."""
    rtt_us: list[float] = field(default_factory=list)
    error_us: list[float] = field(default_factory=list)
    unmoved: int = 0
    """Presses that moved nothing."""
    early: int = 0
    """What stood still already when it was let go, as after an outage."""

    def take(self, press: Press) -> None:
        """Count one press."""
        self.rtt_us.append(press.rtt_us)
        self.error_us.append(press.error_us)
        moved = [one for one in press.motions if one[0] >= press.pressed_us - press.error_us]
        if not moved:
            self.unmoved += 1
            return
        self.begin_us.append(moved[0][0] - press.pressed_us)
        if press.let_go_us is None:
            return
        late_us = moved[-1][1] - press.let_go_us
        if late_us < 0.0:
            self.early += 1
        else:
            self.stand_us.append(late_us)

    def within(self, limit_us: float) -> int:
        """How many presses moved the joint within a time."""
        return sum(one <= limit_us for one in self.begin_us)


def lags(network: str, joints: int, presses: int, seed: int) -> dict[str, Lags]:
    """So many presses of each hand on one kind of network, by hand."""
    with (
        TemporaryDirectory() as folder,
        bench(Path(folder), joints, touch=True) as arm,
        watched_joints(arm, network, seed) as seen,
    ):
        arm.serve()
        arm.until_linked()
        until(lambda: arm.unisono("home").returncode == 0, "all joints homed", PATIENCE_S)
        with Client(arm.url) as client:
            hands = _Hands(client, seen, Random(seed), network, presses)
            hands.by_touch()
            with _jogging(arm.url) as page:
                hands.by_page(page)
    return hands.found


@contextlib.contextmanager
def _jogging(url: str) -> Iterator[Page]:
    """A page whose controls of the joint have the focus, and a gamepad that may move it."""
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        made_up_pads(page)
        page.goto(url)
        page.get_by_role("button", name="Jog…").click()
        page.get_by_role("button", name=f"{JOINT} to larger angles").focus()
        page.evaluate(_WATCH_KEYS)
        yield page


class _Hands:
    """Presses, one after another, this way and that."""

    def __init__(
        self, client: Client, seen: Joints, random: Random, network: str, presses: int
    ) -> None:
        self._client, self._seen, self._random = client, seen, random
        self._network, self._presses = network, presses
        self.found = {hand: Lags() for hand in HANDS}

    def by_touch(self) -> None:
        """Turn the joint's own control by one detent from rest, and by one more just after."""
        self._free()
        for k in self._each("touch"):
            detent = -1 if k % 2 else 1
            self._rest()
            # At any instant between two drives to a joint that rests.
            self._wait(0.4)
            first_us = self._seen.turn(JOINT, detent)
            self.found["touch"].take(self._press(first_us, None, 0.0, self._motion()))
            self._wait(0.2)
            again_us = self._seen.turn(JOINT, detent)
            self.found["touch, turned on"].take(self._press(again_us, None, 0.0, self._motion()))
        self._rest()

    def by_page(self, page: Page) -> None:
        """Press the arrow keys; then push a stick."""
        self._free()
        for k in self._each("key"):
            self.found["key"].take(self._by_key(page, "ArrowLeft" if k % 2 else "ArrowRight"))
        pad = Gamepad(page)
        for k in self._each("pad"):
            self.found["pad"].take(self._by_pad(page, pad, -1.0 if k % 2 else 1.0))

    def _by_key(self, page: Page, key: str) -> Press:
        clock = self._before(page)
        page.keyboard.down(key)
        page.wait_for_timeout(self._random.uniform(*HELD_MS))
        page.keyboard.up(key)
        times = [page.evaluate(_TAKE_KEY, what) for what in ("keydown", "keyup")]
        return self._after(clock, times)

    def _by_pad(self, page: Page, pad: Gamepad, share: float) -> Press:
        clock = self._before(page)
        pad.push()
        pad.push(0, 0, _ENABLING)  # anew each time: a refusal bars what is held
        times = [
            page.evaluate(_PUSH, [push, _ENABLING, self._random.uniform(*after_ms)])
            for push, after_ms in ((share, (0, 40)), (0.0, HELD_MS))
        ]
        return self._after(clock, times)

    def _before(self, page: Page) -> PageClock:
        self._rest()
        page.wait_for_timeout(self._random.uniform(0, 400))
        return clock_of(page)

    def _after(self, clock: PageClock, times_ms: list[float]) -> Press:
        pressed_us, let_go_us = (clock.raw_us(one) for one in times_ms)
        motions = self._motion()
        self._rest()  # on a poor link it may move on and off, and once more
        motions += self._seen.motions(JOINT)
        return self._press(pressed_us, let_go_us, clock.error_us, motions)

    def _press(
        self, pressed_us: float, let_go_us: float | None, error_us: float, motions: list[Motion]
    ) -> Press:
        (rtt_us,) = [one.rtt_p50_us for one in self._client.arm().joints if one.name == JOINT]
        return Press(pressed_us, let_go_us, error_us, rtt_us or float("nan"), motions)

    def _motion(self) -> list[Motion]:
        """Wait for a whole motion of the joint; what is new, none where nothing moves."""
        end_s = time.monotonic() + MOTION_S
        while not (found := self._seen.motions(JOINT)) and time.monotonic() < end_s:
            time.sleep(LOOK_S)
        return found

    def _rest(self) -> None:
        """Wait until the arm rests."""
        until(
            lambda: self._client.arm().condition.word is ConditionWord.AT_REST,
            "the arm rests",
            PATIENCE_S,
        )

    def _free(self) -> None:
        """Let nobody command: whoever moves the joint next does."""
        self._client.take_control()
        self._client.release_control()

    def _wait(self, up_to_s: float) -> None:
        time.sleep(self._random.uniform(0, up_to_s))

    def _each(self, what: str) -> Iterator[int]:
        progress = Progress(f"{self._network}, presses by {what}", self._presses)
        for k in range(self._presses):
            self._seen.motions(JOINT)
            yield k
            progress.step()
