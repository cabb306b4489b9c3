"""Bring up, step by step: the list, what a step asks, what a swap takes back, and the sheet."""

from dataclasses import asdict, replace
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open
from tests.browser.looks import looks_well
from tests.browser.test_bringup import limp, opened
from tests.coordinator.bringup.kit import (
    ELBOW,
    brought_up,
    now,
    said_against,
    said_other_body,
    said_same_body,
)

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
@pytest.mark.parametrize("kind", ["fresh", "travel", "swapped", "exchanged", "complete"])
def test_axe_finds_nothing_and_nothing_is_too_wide_or_too_small(
    open_page: Open, files: str, size: dict[str, int], kind: str
) -> None:
    told = {
        "fresh": now([]), "travel": now(ALL[:6]), "swapped": now(ALL, NEW), "complete": now(ALL),
        "exchanged": replace(now(ALL, NEW), exchanged="wrist"),
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
    done = card.get_by_role("button", name="Identified: say so")
    expect(done).to_have_attribute("aria-disabled", "true")
    here = card.locator("li[aria-current=step]")
    expect(here).to_contain_text("Say what you saw first.")
    here.get_by_role("combobox", name="What you saw").select_option("light")
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
    card.get_by_label("turned by, °", exact=True).fill("89,5")
    expect(card).to_contain_text("89,5 is no number; one is written 89.5, with a point.")
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


def test_who_sees_that_a_step_is_not_so_any_more_says_it_there_and_is_told_what_is_left(
    open_page: Open, files: str
) -> None:
    there = Coordinator(now(ALL))
    page = chosen(open_page, files, there)
    card = page.get_by_role("region", name="Step by step")
    expect(card.get_by_role("status")).to_have_text("Every step of elbow is done.")
    refusal = {
        "type": "urn:unisono:problem:bring-up-not-so", "status": 409,
        "detail": "elbow: it is elsewhere: put the joints into their order",
    }  # fmt: skip
    page.route("**/bring-up/placed", lambda route: route.fulfill(status=409, json=refusal))
    there.told = asdict(now(said_against(ALL, "placed", "it is elsewhere")))
    card.get_by_text("What was found: Given its place").click()
    placed = card.get_by_role("listitem").filter(has_text="What was found: Given its place")
    placed.get_by_role("combobox", name="What you saw").select_option("it is elsewhere")
    placed.get_by_role("button", name="Given its place: say so").press("Enter")
    expect(page.locator(".said")).to_contain_text("it is elsewhere: put the joints")
    expect(card.get_by_role("status")).to_contain_text("elbow is not brought up")
    expect(card).to_contain_text("Counts no more: the owner said: it is elsewhere.")


def test_another_body_under_the_same_controller_is_said_behind_a_question(
    open_page: Open, files: str
) -> None:
    there = Coordinator(now(ALL), now(said_other_body(ALL)))
    card = chosen(open_page, files, there).get_by_role("region", name="Step by step")
    button = card.get_by_role("button", name="Motor, gear or housing of elbow was changed")
    expect(button).to_have_count(0)  # it takes steps back: not by one press
    card.get_by_text("Was something changed that shows nowhere?").click()
    button.click()
    expect(card.get_by_role("status")).to_contain_text("elbow is not brought up")
    assert there.said == [("other-body", {})]


def test_two_joints_that_changed_places_are_named(open_page: Open, files: str) -> None:
    there = Coordinator(replace(now(ALL, NEW), exchanged="wrist"))
    card = chosen(open_page, files, there).get_by_role("region", name="Step by step")
    expect(card).to_contain_text(f"wrist was identified with the controller {NEW.id} before")


def test_a_coordinator_that_comes_back_with_another_arm_file_is_asked_again(
    open_page: Open, files: str
) -> None:
    there, feed = Coordinator(now(ALL)), Feed(limp())
    page = opened(open_page, files, feed)
    there.attach(page)
    card = page.get_by_role("region", name="Step by step")
    card.get_by_role("combobox", name="Joint").select_option("elbow")
    expect(card.get_by_role("status")).to_have_text("Every step of elbow is done.")
    there.told = asdict(now(ALL, NEW))
    first = limp()
    first["state"]["joints"][2]["id"] = NEW.id
    feed.say(first)
    expect(card.get_by_role("status")).to_contain_text("elbow is not brought up")
