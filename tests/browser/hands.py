"""What a person has to press with: a mouse, a finger, or the keyboard alone."""

from collections.abc import Callable
from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect

TABS = 120
"""Presses of Tab in which everything on a page must be reached."""
PATIENCE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Mouse:
    """Clicks."""

    page: Page

    def press(self, control: Locator) -> None:
        """Press what can be pressed."""
        control.click()

    def keep_pressed(self, control: Locator, until: Callable[[], None]) -> None:
        """Press until something is so, and let go."""
        control.hover()
        self.page.mouse.down()
        until()
        self.page.mouse.up()

    def write(self, field: Locator, text: str) -> None:
        """Paste a text."""
        field.click()
        self.page.keyboard.insert_text(text)


class Finger(Mouse):
    """Taps."""

    def press(self, control: Locator) -> None:
        control.tap()

    def keep_pressed(self, control: Locator, until: Callable[[], None]) -> None:
        control.evaluate("element => element.scrollIntoView({block: 'center'})")
        box = control.bounding_box()
        assert box is not None
        at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        touch = self.page.context.new_cdp_session(self.page)
        touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})
        until()
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def write(self, field: Locator, text: str) -> None:
        field.tap()
        self.page.keyboard.insert_text(text)


class Keys(Mouse):
    """Goes from control to control by Tab, and presses Enter."""

    def press(self, control: Locator) -> None:
        self._reach(control)
        self.page.keyboard.press("Enter")

    def keep_pressed(self, control: Locator, until: Callable[[], None]) -> None:
        self._reach(control)
        self.page.keyboard.down("Enter")
        until()
        self.page.keyboard.up("Enter")

    def write(self, field: Locator, text: str) -> None:
        self._reach(field)
        self.page.keyboard.insert_text(text)

    def _reach(self, control: Locator) -> None:
        # What cannot be pressed at present, as while the coordinator is not heard, is passed over.
        expect(control).to_be_enabled(timeout=PATIENCE_MS)
        for _ in range(TABS):
            if control.evaluate("element => element === document.activeElement"):
                assert control.evaluate("element => element.matches(':focus-visible')")
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{control} is not reached by Tab")
