"""How a person homes an arm on the page: one joint after another, or all of them at once."""

from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

PATIENCE_MS = 60_000


def home_all(page: Page, press: Callable[[Locator], None]) -> None:
    """Home every joint, each by itself where somebody must look at it first."""
    every = page.get_by_role("button", name="Home all joints")
    card = page.get_by_role("region", name="Homing", exact=True)
    expect(every.or_(card)).to_be_visible(timeout=PATIENCE_MS)
    if every.is_visible():
        press(every)
        return
    for name in card.locator(".what strong").all_inner_texts():
        button = card.get_by_role("button", name=f"Home {name}", exact=True)
        if button.count():
            expect(button).not_to_have_attribute("aria-disabled", "true", timeout=PATIENCE_MS)
            press(button)
            homed = card.locator("li").filter(has=page.get_by_text(name, exact=True))
            expect(homed.get_by_text("homed", exact=True).or_(every)).to_be_visible(
                timeout=PATIENCE_MS
            )
