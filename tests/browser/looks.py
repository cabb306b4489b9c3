"""Whether a page can be read, reached and pressed by everybody."""

from pathlib import Path
from typing import Final

from playwright.sync_api import Page

_AXE: Final = Path(__file__).parent / "vendor" / "axe.min.js"
_SMALLEST_PX: Final = 24
"""Of a target (WCAG 2.2, 2.5.8)."""


def looks_well(page: Page) -> None:
    """Fail, naming the place, where axe-core or a measure finds something."""
    found = violations(page)
    assert not found, "\n".join(found)
    small = too_small(page)
    assert not small, "\n".join(small)
    too_wide = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(too_wide) <= 0


def violations(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 AA, with the place."""
    page.evaluate(_AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        """async () => {
            // A colour on its way from one to another is neither.
            const under_way = document.getAnimations().filter((one) =>
                one.effect.getComputedTiming().endTime !== Infinity);
            await Promise.allSettled(under_way.map((one) => one.finished));
            const only = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
            const found = await axe.run(document, {runOnly: only});
            return found.violations.map((one) =>
                `${one.id}: ${one.nodes.map((node) => node.failureSummary + node.html).join(" ")}`);
        }"""
    )
    return list(found)


def too_small(page: Page) -> list[str]:
    """Controls that are smaller than a target may be; links in a sentence are excepted there."""
    found = page.evaluate(
        """(least) => [...document.querySelectorAll("button, input, textarea, nav a, a.button")]
            .map((element) => [element, element.getBoundingClientRect()])
            .filter(([, box]) => box.width && (box.width < least || box.height < least))
            .map(([element, box]) => `${element.outerHTML} ${box.width}x${box.height}`)""",
        _SMALLEST_PX,
    )
    return list(found)
