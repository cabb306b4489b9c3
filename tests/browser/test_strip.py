"""What is drawn in a lane's strip, read back from its pixels.

Where on the axis a time lies is read from the axis's own words; the colours of permit and buffer
are those of the drawings that the page follows.
"""

from typing import Any, Final

import pytest
from playwright.sync_api import Page, expect

from tests.browser import canned
from tests.browser.conftest import Feed, Open, stay_new
from tests.e2e.harness import until

PERMIT: Final = [0x5C, 0x7A, 0x84]
BUFFER: Final = [0xB9, 0xC6, 0xCA]
_BAR_ROW: Final = -9
"""From the bottom: through the bars of permit and buffer."""
_PIXELS = """([joint, x, row]) => {
    const canvas = document.querySelectorAll(".strip canvas")[joint];
    const pen = canvas.getContext("2d");
    const scale = canvas.width / canvas.clientWidth;
    const column = Math.round(x * canvas.width);
    if (row !== null) {
        return [...pen.getImageData(column, canvas.height + row * scale, 1, 1).data].slice(0, 3);
    }
    const rows = [];
    const data = pen.getImageData(column, 0, 1, canvas.height).data;
    for (let y = 0; y < canvas.height; y += 1) {
        // Ink, neither the grid nor what is left clear.
        if (data[4 * y] < 100 && data[4 * y + 3] > 128) rows.push(y / canvas.height);
    }
    return rows;
}"""


@pytest.fixture
def page(open_page: Open, files: str) -> Page:
    """Six joints that move, seen at one instant for ever."""
    first = canned.whole()
    first["state"]["joints"][1]["heard_at_us"] = canned.NOW_US - 6_000_000
    past = first["history"]["joints"]["shoulder"]
    keep = [k for k, at in enumerate(past["at_us"]) if at <= canned.NOW_US - 6_000_000]
    first["history"]["joints"]["shoulder"] = {
        name: [column[k] for k in keep] for name, column in past.items()
    }

    def before(opened: Page) -> None:
        Feed(first).attach(opened)
        stay_new(opened)
        opened.emulate_media(reduced_motion="reduce")

    opened = open_page(files, before=before)
    expect(opened.locator(".lane")).to_have_count(6)
    return opened


def place(page: Page, seconds: float) -> float:
    """Share of the width at which a time from now lies, by the words of the axis."""
    words = page.locator(".marks text").evaluate_all(
        "(all) => Object.fromEntries(all.map((one) => "
        "[one.textContent, parseFloat(one.getAttribute('x')) / 100]))"
    )
    now, ends = words["now"], {-10: words["−10 s"], 3: words["+3 s"]}
    end = 3 if seconds > 0 else -10
    return float(now + (ends[end] - now) * seconds / end)


def colour(page: Page, seconds: float, row: int = _BAR_ROW, joint: int = 0) -> Any:
    return page.evaluate(_PIXELS, [joint, place(page, seconds), row])


def ink(page: Page, seconds: float, joint: int = 0) -> Any:
    """Shares of the height at which something dark is drawn at a time."""
    return page.evaluate(_PIXELS, [joint, place(page, seconds), None])


def test_permit_and_buffer_are_drawn_as_far_ahead_as_they_reach(page: Page) -> None:
    # The joint is at path time 10.0 s, may go to 10.6 s, and has points up to 12.6 s.
    assert colour(page, 0.3) == PERMIT
    assert colour(page, 0.55) == PERMIT
    assert colour(page, 1.0) == BUFFER
    assert colour(page, 2.5) == BUFFER
    assert colour(page, 2.8) not in (PERMIT, BUFFER)
    assert colour(page, -1.0) not in (PERMIT, BUFFER)


def test_now_is_a_line_through_the_whole_lane(page: Page) -> None:
    assert len(ink(page, 0.0)) == len(ink(page, 0.0, joint=5)) > 40


def test_the_past_and_the_plan_are_drawn_where_the_joint_was_and_will_be(page: Page) -> None:
    where = {s: ink(page, s) for s in (-8.05, -3.05, -1.05)}
    assert all(1 <= len(rows) <= 12 for rows in where.values()), where
    # Before its start the joint rested below where the wave then took it.
    first = canned.whole()["history"]["joints"]["turntable"]
    angle = {s: first["deg"][round(10 * (s + 10.05))] for s in where}
    highest, lowest = max(angle, key=angle.__getitem__), min(angle, key=angle.__getitem__)
    assert min(where[highest]) < min(where[lowest])


def start_drawn(page: Page, joint: int) -> float:
    """Share of a lane's height at which the start's line is drawn."""
    share = page.evaluate(
        """([joint, x]) => {
            const canvas = document.querySelectorAll(".strip canvas")[joint];
            const column = Math.round(x * canvas.width);
            const box = canvas.getContext("2d").getImageData(column - 1, 0, 3, canvas.height);
            return [...Array(canvas.height).keys()].filter((y) =>
                [0, 1, 2].some((k) => box.data[4 * (3 * y + k)] < 100
                    && box.data[4 * (3 * y + k) + 3] > 128)).length / canvas.height;
        }""",
        [joint, place(page, -7.4)],
    )
    return float(share)


def test_the_common_start_is_a_line_at_its_instant_in_every_lane(page: Page) -> None:
    until(
        lambda: all(start_drawn(page, joint) > 0.95 for joint in range(6)), "the start in all lanes"
    )


def test_the_line_of_a_silent_joint_ends_where_it_was_heard_last(page: Page) -> None:
    until(lambda: ink(page, -8.05, joint=1), "the line is drawn")
    assert not ink(page, -3.05, joint=1)
    assert ink(page, -3.05, joint=2)
