"""What a person has to press with: a mouse, a finger, or the keyboard alone."""

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

    def write(self, field: Locator, text: str) -> None:
        """Paste a text."""
        field.click()
        self.page.keyboard.insert_text(text)


class Finger(Mouse):
    """Taps."""

    def press(self, control: Locator) -> None:
        control.tap()

    def write(self, field: Locator, text: str) -> None:
        field.tap()
        self.page.keyboard.insert_text(text)


class Keys(Mouse):
    """Goes from control to control by Tab, and presses Enter."""

    def press(self, control: Locator) -> None:
        self._reach(control)
        self.page.keyboard.press("Enter")

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
