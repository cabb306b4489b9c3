"""A page that jogs an arm which is made up, and what its hand says."""

import functools
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import DESKTOP, Feed, Open, stay_new
from tests.e2e.harness import DEADLINE_S, until


def resting(**values: Any) -> dict[str, Any]:
    """The first message of a feed whose arm rests, homed, with nothing to do."""
    first = canned.whole(run=None, phase="idle", condition=canned.condition("at rest"), **values)
    for joint in first["state"]["joints"]:
        joint |= {"state": "ready", "velocity_deg_s": 0.0}
    return first


def jogging(
    open_page: Open, url: str, feed: Feed, size: dict[str, int] = DESKTOP, touch: bool = False
) -> Page:
    """A page with its jog controls open, whose data stays new however slow the machine is."""

    def before(page: Page) -> None:
        feed.attach(page)
        stay_new(page)
        made_up_pads(page)

    page = open_page(url, size=size, touch=touch, bypass_csp=True, before=before)
    page.get_by_role("button", name="Jog…").click()
    expect(page.locator(".jogrow").first).to_be_visible()
    return page


def asked(feed: Feed) -> dict[str, float]:
    """The velocities that the hand said last, none before it said anything."""
    return dict(feed.wishes[-1]["velocities_deg_s"]) if feed.wishes else {}


def until_asked(page: Page, feed: Feed, velocities_deg_s: dict[str, float]) -> None:
    """Wait until the hand asks for these velocities and no others."""

    def look() -> bool:
        page.evaluate("0")  # what the page said is taken in while it is asked something
        return asked(feed) == velocities_deg_s

    until(look, f"{velocities_deg_s} asked, not {asked(feed)}", DEADLINE_S)


def stays_asked(
    page: Page, feed: Feed, velocities_deg_s: dict[str, float], looks: int = 10
) -> None:
    """Over so many looks at the gamepad and turns of the hand nothing else is asked for."""
    for _ in range(looks):
        page.evaluate("new Promise((done) => setTimeout(done, 20))")
        assert asked(feed) == velocities_deg_s


# Gamepads as a test says they are; the browser's own are none.
_PADS = """
    window.pads = [null, null, null, null];
    navigator.getGamepads = () => window.pads;
    window.plug = (index, mapping) => {
        const buttons = Array.from({ length: 17 }, () => ({ pressed: false, value: 0 }));
        window.pads[index] = { index, mapping, connected: true, axes: [0, 0, 0, 0], buttons };
        dispatchEvent(new Event("gamepadconnected"));
    };
    window.unplug = (index) => {
        window.pads[index].connected = false;
        window.pads[index] = null;
        dispatchEvent(new Event("gamepaddisconnected"));
    };
    window.pushes = (index, left, right, down) => {
        const pad = window.pads[index];
        pad.axes = [left, 0, right, 0];
        pad.buttons.forEach((button, at) => { button.pressed = down.includes(at); });
    };
"""


def made_up_pads(page: Page) -> None:
    """Before it is opened: a page that sees the gamepads of a test."""
    page.add_init_script(_PADS)


class Gamepad:
    """A gamepad that is plugged in, and pushed as a test says."""

    def __init__(self, page: Page, index: int = 0, mapping: str = "standard") -> None:
        self._page, self._index = page, index
        page.evaluate("([index, mapping]) => plug(index, mapping)", [index, mapping])
        self.push()

    def push(self, left: float = 0.0, right: float = 0.0, *down: int) -> None:
        """Push its sticks and press these buttons, and no others; seen by the page."""
        say = functools.partial(self._page.evaluate, "([...said]) => pushes(...said)")
        say([self._index, left, right, list(down)])
        # More than one look of the page at its pads.
        self._page.evaluate("new Promise((done) => setTimeout(done, 45))")

    def unplug(self) -> None:
        """Pull its plug."""
        self._page.evaluate("(index) => unplug(index)", self._index)
