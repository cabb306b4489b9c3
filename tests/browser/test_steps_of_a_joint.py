"""Bring up, step by step: the list, what a step asks, what a swap takes back, and the sheet."""

from dataclasses import asdict, replace
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.looks import looks_well
from tests.browser.test_bringup import limp, opened
from tests.coordinator.bringup.kit import ELBOW, brought_up, now, said_same_body

ALL = brought_up()
NEW = replace(ELBOW, id="3c71bf4aff03")


class Coordinator:
    """What answers for the bring-up of the elbow."""

    def __init__(self, told: Any, then: Any = None) -> None:
        self.told, self.then = asdict(told), asdict(then or told)
        self.said: list[tuple[str, Any]] = []

    def attach(self, page: Page) -> None:
        page.route("**/joints/elbow/bring-up", lambda route: route.fulfill(json=self.told))
        page.route("**/joints/elbow/bring-up/*", self._done)

    def _done(self, route: Route) -> None:
        step = route.request.url.rpartition("/")[2]
        self.said.append((step, route.request.post_data_json))
        route.fulfill(json=self.then)


def chosen(open_page: Open, files: str, there: Coordinator, size: dict[str, int] = DESKTOP) -> Page:
    page = opened(open_page, files, Feed(limp()), size)
    there.attach(page)
    card = page.get_by_role("region", name="Step by step")
    card.get_by_role("combobox", name="Joint").select_option("elbow")
    expect(card.get_by_text("Identified", exact=True)).to_be_visible()
    return page


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
@pytest.mark.parametrize("kind", ["fresh", "travel", "swapped", "complete"])
def test_axe_finds_nothing_and_nothing_is_too_wide_or_too_small(
    open_page: Open, files: str, size: dict[str, int], kind: str
) -> None:
    told = {
        "fresh": now([]), "travel": now(ALL[:6]), "swapped": now(ALL, NEW), "complete": now(ALL),
    }[kind]  # fmt: skip
    page = chosen(open_page, files, Coordinator(told), size)
    page.screenshot(path=SHOTS / f"steps-{kind}-{size['width']}.png", full_page=True)
    looks_well(page)


def test_the_next_step_tells_its_caution_and_is_done_by_what_somebody_saw(
    open_page: Open, files: str
) -> None:
    there = Coordinator(now([]), now(ALL[:1]))
    page = chosen(open_page, files, there)
    card = page.get_by_role("region", name="Step by step")
    expect(card.locator("li[aria-current=step]")).to_contain_text("Support a raised arm")
    done = card.get_by_role("button", name="Identified: this is done")
    expect(done).to_have_attribute("aria-disabled", "true")
    card.get_by_role("combobox", name="What you saw").select_option("light")
    done.press("Enter")
    expect(card.locator("li[aria-current=step]")).to_contain_text("Given its place")
    said = {"answer": "light", "commanded_deg": None, "measured_deg": None}
    assert there.said == [("identified", said)]


def test_a_measured_turn_is_sent_as_numbers(open_page: Open, files: str) -> None:
    there = Coordinator(now(ALL[:6]), now(ALL[:7]))
    card = chosen(open_page, files, there).get_by_role("region", name="Step by step")
    card.get_by_label("told to turn by").fill("90")
    card.get_by_label("turned by, °", exact=True).fill("no")
    done = card.get_by_role("button", name="Travel measured: this is done")
    expect(done).to_have_attribute("aria-disabled", "true")
    card.get_by_label("turned by, °", exact=True).fill("89.5")
    done.click()
    expect(card.locator("li[aria-current=step]")).to_contain_text("Range free")
    assert there.said == [("travel", {"answer": None, "commanded_deg": 90, "measured_deg": 89.5})]


def test_a_swap_says_why_steps_count_no_more_and_asks_whether_the_body_stayed(
    open_page: Open, files: str
) -> None:
    there = Coordinator(now(ALL, NEW), now(said_same_body(ALL, NEW), NEW))
    card = chosen(open_page, files, there).get_by_role("region", name="Step by step")
    expect(card.get_by_role("status")).to_contain_text("elbow is not brought up")
    why = f"Counts no more: controller was {ELBOW.id}, is {NEW.id}."
    expect(card.get_by_text(why).first).to_be_visible()
    card.get_by_role("button", name="Only the controller was changed").click()
    expect(card.get_by_text(f"The controller before was {ELBOW.id}")).to_have_count(0)
    assert there.said == [("controller-only", {})]
    expect(card.get_by_role("link", name="Sheet of elbow to print")).to_have_attribute(
        "href", "/api/v1/joints/elbow/bring-up/sheet"
    )
