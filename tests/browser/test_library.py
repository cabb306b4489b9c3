"""Play: what is kept is searched, taken, changed, played in loops, and tells what became of it."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import httpx2
import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import HANDS, SHOTS, Open, edited, until_free, view_for
from tests.browser.hands import Mouse
from tests.browser.looks import looks_well
from tests.e2e.harness import Bench, program, until

PATIENCE_MS = 60_000
SHORT = program(-150, -155)
SLOW = program(-145, -155, feed=300)
"""Long enough that a loop is seen on the page."""
LONG = program(-100, feed=300)


@pytest.fixture(autouse=True)
def _free(arm: Bench) -> None:
    """Nobody has control any more, nothing moves, and nothing is kept."""
    until_free(arm)
    for one in kept(arm):
        edited(arm, {"type": "delete-program", "program": one["id"]})


def kept(arm: Bench) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = httpx2.get(f"{arm.url}/api/v1/taught").json()["programs"]
    return found


@pytest.fixture(params=HANDS)
def opened(
    arm: Bench, open_page: Open, request: pytest.FixtureRequest
) -> Iterator[tuple[Page, Mouse]]:
    """Play, and what is there to press it with."""
    with view_for(request.param, arm, open_page, "play", "Kept") as made:
        yield made


def written(page: Page, hand: Mouse, name: str, text: str) -> None:
    """A name and a program, in place of those that stand there."""
    for field, value in ((page.get_by_label("Name"), name), (field_of(page), text)):
        field.fill("")
        hand.write(field, value)


def field_of(page: Page) -> Any:
    return page.get_by_role("textbox", name="Program")


def pressed(page: Page, hand: Mouse, name: str) -> None:
    hand.press(page.get_by_role("button", name=name, exact=True))


def said(page: Page, text: str) -> None:
    expect(page.locator(".said")).to_contain_text(text, timeout=PATIENCE_MS)


def begun(page: Page, hand: Mouse) -> None:
    """Play what was checked, and wait until the page goes to watch it."""
    play = page.get_by_role("button", name="Play", exact=True)
    expect(play).to_have_attribute("aria-disabled", "false", timeout=PATIENCE_MS)
    hand.press(play)
    page.wait_for_url("**/#watch", timeout=PATIENCE_MS)


def until_run(
    page: Page, hand: Mouse, arm: Bench, what: str, told: Callable[[dict[str, Any] | None], bool]
) -> None:
    """Wait until something is so of a run; where this machine's own load had the arm hold, it is
    resumed.
    """
    resume = page.get_by_role("button", name="Resume", exact=True)

    def look() -> bool:
        run = arm.arm_now()["run"]
        if told(run):
            return True
        if run and run["phase"] == "held":
            hand.keep_pressed(resume, lambda: expect(resume).to_be_disabled(timeout=PATIENCE_MS))
        return False

    until(look, what)


def test_a_program_is_kept_searched_taken_changed_restored_renamed_and_deleted(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    for count, name in enumerate(("one tray", "two trays", "park"), 1):
        written(page, hand, name, SHORT)
        pressed(page, hand, "Keep as new")
        said(page, f"{name} is kept.")
        expect(page.get_by_role("button", name=f"Rename {name}")).to_be_visible()
        assert len(kept(arm)) == count
    hand.write(page.get_by_label("Search"), "TRAY")
    expect(page.locator(".library li")).to_have_count(2)
    expect(page.locator(".library")).to_contain_text("2 of 3")
    hand.press(page.locator(".library li button", has_text="one tray"))
    expect(field_of(page)).to_have_value(SHORT, timeout=PATIENCE_MS)
    changed = SHORT.replace("M2", "(and back)\nM2")
    written(page, hand, "one tray", changed)
    pressed(page, hand, "Keep as one tray")
    said(page, "one tray is kept with this text")
    pressed(page, hand, "Versions…")
    hand.press(page.get_by_role("button", name="kept program 'one tray'"))
    expect(page.get_by_role("region", name="Then and now")).to_contain_text("(and back)")
    looks_well(page)
    pressed(page, hand, "Take the text of then")
    expect(field_of(page)).to_have_value(SHORT)
    pressed(page, hand, "Keep as one tray")
    expect(page.get_by_role("button", name="wrote program 'one tray'")).to_have_count(
        2, timeout=PATIENCE_MS
    )
    written(page, hand, "a tray", SHORT)
    pressed(page, hand, "Rename one tray")
    expect(page.locator(".library li")).to_have_text(
        [re.compile("^a tray"), re.compile("^two trays")], timeout=PATIENCE_MS
    )
    pressed(page, hand, "Delete…")
    pressed(page, hand, "Delete a tray")
    expect(page.locator(".library li")).to_have_count(1, timeout=PATIENCE_MS)
    assert {one["name"] for one in kept(arm)} == {"two trays", "park"}


@pytest.mark.parametrize("opened", ["mouse-1280", "finger-360"], indirect=True)
def test_what_is_kept_is_drawn_played_in_loops_and_tells_what_became_of_it(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    edited(arm, {"type": "keep-program", "name": "one tray", "text": SLOW})
    row = page.locator(".library li", has_text="one tray")
    expect(row).to_contain_text("never played", timeout=PATIENCE_MS)  # once results are known
    hand.press(row.get_by_role("button"))
    expect(field_of(page)).to_have_value(SLOW, timeout=PATIENCE_MS)
    pressed(page, hand, "Check")
    expect(page.locator(".curve")).to_have_count(3, timeout=PATIENCE_MS)
    expect(page.locator(".curve").first).to_contain_text("range −170° to 170°")
    looks_well(page)
    loops = page.locator(".play").get_by_label("Loops")
    loops.fill("0")
    expect(page.locator(".play")).to_contain_text("Loops is 0, but must be 1 to 10000")
    expect(page.get_by_role("button", name="Play", exact=True)).to_have_attribute(
        "aria-disabled", "true"
    )
    loops.fill("")
    hand.write(loops, "3")
    expect(page.locator(".play")).to_contain_text("without pauses")
    # Not the full page: Chromium leaves a page that is focused in scrolled elsewhere after such a
    # picture, and scrolls it back as a finger comes down, which then presses something else.
    page.screenshot(path=SHOTS / f"play-{type(hand).__name__.lower()}.png")
    begun(page, hand)
    bar = page.locator(".runbar")
    until_run(page, hand, arm, "loop 2", lambda _: "loop 2 of 3" in (bar.text_content() or ""))
    until_run(page, hand, arm, "the run's end", lambda run: run is None)
    page.goto(f"{arm.url}/#play")
    expect(row).to_contain_text("finished", timeout=PATIENCE_MS)
    report = httpx2.get(f"{arm.url}/api/v1/runs?limit=1").json()["runs"][0]
    assert (report["name"], report["outcome"]) == ("one tray", "finished")


@pytest.mark.parametrize("opened", ["finger-360"], indirect=True)
def test_what_is_queued_is_played_one_after_another_and_its_place_is_told(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    for name, text in (("one tray", SLOW), ("two trays", SHORT), ("park", SHORT)):
        edited(arm, {"type": "keep-program", "name": name, "text": text})
    queue = page.get_by_role("region", name="Queue")
    for name in ("one tray", "two trays", "park"):
        hand.press(page.locator(".library li button", has_text=name))
        pressed(page, hand, f"Add {name}")
        said(page, f"{name} is queued.")
    expect(queue.locator("li")).to_have_count(3, timeout=PATIENCE_MS)
    hand.press(queue.get_by_role("button", name="Earlier park, place 3"))
    expect(queue.locator("li").nth(1)).to_contain_text("park", timeout=PATIENCE_MS)
    looks_well(page)
    queue.screenshot(path=SHOTS / "queue.png")
    hand.press(page.get_by_role("button", name="Play queue from 1, one tray", exact=True))
    page.wait_for_url("**/#watch", timeout=PATIENCE_MS)
    place = page.locator("p.queue")
    expect(place).to_have_text(
        "Queue: 1 of 3, one tray; next park, which begins by itself.", timeout=PATIENCE_MS
    )
    looks_well(page)
    page.screenshot(path=SHOTS / "queue-watch.png")
    page.goto(f"{arm.url}/#play")
    hand.press(queue.get_by_role("button", name="Remove two trays, place 3"))
    expect(queue.locator("li")).to_have_count(2, timeout=PATIENCE_MS)

    def states() -> list[str]:
        told = httpx2.get(f"{arm.url}/api/v1/queue").json()
        return [f"{one['name']}: {one['state']}" for one in told["entries"]]

    until_run(
        page, hand, arm, "its end", lambda _: states() == ["one tray: finished", "park: finished"]
    )
    expect(queue).not_to_contain_text("Queue: ", timeout=PATIENCE_MS)
    expect(queue.locator("li").first).to_contain_text("finished, run")
    runs = httpx2.get(f"{arm.url}/api/v1/runs?limit=2").json()["runs"]
    assert [(one["name"], one["outcome"]) for one in runs] == [
        ("park", "finished"), ("one tray", "finished"),
    ]  # fmt: skip
    for _ in range(2):
        hand.press(queue.get_by_role("button", name="Remove").first)


MARKED = """G0 A-150 B-150 C-150
G4 P0.5
M0
G64 P1
G1 A-155 F1200
B-155
M2
"""


def with_outputs(route: Route) -> None:
    """The curves as they are told, and marks of outputs, which this arm has none of."""
    told = route.fetch(headers=route.request.headers | {"accept": "application/json"})
    body = told.json()
    usual = {"line": 5, "begin_s": 0.25, "end_s": 0.25}
    body["marks"] += [
        usual | {"kind": "output", "name": "gripper", "on": True},
        usual | {"kind": "wait", "name": "seedling_held", "on": True},
        usual | {"kind": "output", "name": "gripper", "on": False},
    ]
    body["more_marks"] = {"output": 7}
    route.fulfill(response=told, json=body)


def test_curves_show_angle_speed_or_acceleration_with_limits_and_marks_that_are_told_too(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    page.route("**/check/curves", with_outputs)
    written(page, hand, "marked.nc", MARKED)
    pressed(page, hand, "Check")
    first = page.locator(".curve").first
    expect(first).to_contain_text("range −170° to 170°", timeout=PATIENCE_MS)
    for kind, told in (
        ("speed", re.compile(r"up to [\d.]+ of \d+\s°/s")),
        ("acceleration", re.compile(r"up to [\d.]+ of \d+\s°/s², a plan may use \d+\s°/s²")),
        ("angle", re.compile("° to −150.0°; range")),
    ):
        pressed(page, hand, kind)
        chosen = page.get_by_role("button", name=kind, exact=True)
        expect(chosen).to_have_attribute("aria-pressed", "true")
        expect(page.locator(".choice [aria-pressed=true]")).to_have_count(1)
        expect(first).to_contain_text(told)
        looks_well(page)
        width = page.viewport_size["width"] if page.viewport_size else 0
        page.locator(".play").screenshot(
            path=SHOTS / f"curves-{kind}-{type(hand).__name__.lower()}-{width}.png"
        )
    # Each has its shape and says what it is; the strip begins and ends where the curves do.
    shapes = page.get_by_role("list", name="Marks")
    expect(shapes.get_by_role("listitem")).to_have_text([
        re.compile("a dwell$"), re.compile("a pause$"), re.compile("a wait for an input$"),
        re.compile("an end that is passed without a stop$"), re.compile("an output switched on$"),
        re.compile("an output switched off$"), "not drawn: 7 more outputs, after these",
    ])  # fmt: skip
    paths = shapes.locator("path").evaluate_all("all => all.map((one) => one.getAttribute('d'))")
    assert len(set(paths)) == 6
    strip = page.locator(".curvestrip svg").bounding_box()
    curve = first.locator(".u-over").bounding_box()
    assert strip is not None
    assert curve is not None
    assert abs(strip["x"] - curve["x"]) <= 1.0
    assert abs(strip["width"] - curve["width"]) <= 1.0
    expect(page.locator(".curvestrip text").first).to_have_text("1")
    hand.press(page.locator("summary", has_text="Marks in words"))
    for words in ("line 2: dwells for 0.50", "line 3: pauses until it is resumed",
                  "line 5: its end is passed without a stop", "line 5: gripper on",
                  "line 5: waits for seedling_held to be on"):  # fmt: skip
        expect(page.locator(".play ol")).to_contain_text(words)
    looks_well(page)


@pytest.mark.parametrize("opened", ["mouse-1280", "finger-360"], indirect=True)
def test_lines_with_a_slash_and_m1_count_as_the_operator_switches(
    arm: Bench, opened: tuple[Page, Mouse]
) -> None:
    page, hand = opened
    written(page, hand, "switched.nc", f"/G2\n{SHORT.replace('M2', 'M1')}{SHORT}")
    form = page.locator(".play")
    deleting, stopping = form.get_by_label("Block delete"), form.get_by_label("Optional stop")
    expect(deleting).not_to_be_checked()
    expect(stopping).not_to_be_checked()
    pressed(page, hand, "Check")
    expect(page.locator(".play")).to_contain_text("it cannot be played", timeout=PATIENCE_MS)
    hand.press(deleting)
    # What was checked with another switch says nothing any more.
    expect(page.locator(".play")).not_to_contain_text("it cannot be played")
    hand.press(stopping)
    pressed(page, hand, "Check")
    expect(page.locator(".play")).to_contain_text("No mistakes", timeout=PATIENCE_MS)
    looks_well(page)
    page.screenshot(path=SHOTS / f"switches-{type(hand).__name__.lower()}.png", full_page=True)
    begun(page, hand)
    page.get_by_role("link", name="Play", exact=True).click()
    expect(deleting).to_be_checked()
    expect(stopping).to_be_checked()
    until_run(
        page, hand, arm, "the pause at M1", lambda run: bool(run and run["phase"] == "paused")
    )
    resume = page.get_by_role("button", name="Resume", exact=True)
    hand.keep_pressed(resume, lambda: expect(resume).to_be_disabled(timeout=PATIENCE_MS))
    until_run(page, hand, arm, "the run's end", lambda run: run is None)
    report = arm.newest_report()
    assert (report["block_delete"], report["optional_stop"]) == (True, True)
    assert report["outcome"] == "finished"


def test_line_that_is_played_is_marked_in_its_program(arm: Bench, open_page: Open) -> None:
    edited(arm, {"type": "keep-program", "name": "far", "text": "(far)\n" + LONG})
    page = open_page(f"{arm.url}/#play")
    page.locator(".library li button", has_text="far").click()
    page.get_by_role("button", name="Check").click()
    begun(page, Mouse(page))
    page.get_by_role("link", name="Play", exact=True).click()
    mark = page.locator(".listing [aria-current=step]")
    expect(mark).to_have_text(re.compile(r"G1 F300"), timeout=PATIENCE_MS)
    looks_well(page)
    page.screenshot(path=SHOTS / "play-listing.png", full_page=True)
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator(".listing")).to_have_count(0, timeout=PATIENCE_MS)
    page.goto("about:blank")


def test_program_changed_by_another_since_it_was_taken_is_not_played_as_what_is_kept(
    arm: Bench, open_page: Open
) -> None:
    edited(arm, {"type": "keep-program", "name": "mine", "text": SHORT})
    page = open_page(f"{arm.url}/#play")
    page.locator(".library li button", has_text="mine").click()
    page.get_by_role("button", name="Check").click()
    play = page.get_by_role("button", name="Play", exact=True)
    expect(play).to_be_visible(timeout=PATIENCE_MS)
    (one,) = kept(arm)
    edited(arm, {"type": "keep-program", "program": one["id"], "text": LONG})
    play.click()
    expect(page.locator(".said")).to_contain_text(
        "'mine' is kept with another text than this one", timeout=PATIENCE_MS
    )
    assert arm.arm_now()["run"] is None
    # Nor is it written over unseen.
    expect(page.locator(".play")).to_contain_text("mine was kept with another text since you took")
    field_of(page).fill(LONG + "(mine)\n")
    expect(page.get_by_role("button", name="Keep as mine")).to_have_attribute(
        "aria-disabled", "true"
    )
    page.get_by_role("button", name="Keep this one all the same").click()
    said(page, "mine is kept with this text")
    expect(page.locator(".play")).not_to_contain_text("another text since")
    page.goto("about:blank")
