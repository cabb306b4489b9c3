"""What a lane and its details say of a joint: each figure, and what is not to be believed."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser import canned
from tests.browser.conftest import Feed, Open, pages, stay_new


def shown(open_page: Open, files: str, **values: Any) -> Page:
    """The page with one joint of these values."""
    first = canned.whole(1)
    first["state"]["joints"] = [canned.joint(0, **values)]

    def before(page: Page) -> None:
        Feed(first).attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    page.locator(".lane").wait_for()
    return page


@pytest.fixture(name="lane", scope="module")
def one_lane(browser: Browser, files: str) -> Iterator[Page]:
    """A page with one joint, for all tests that only look at it."""
    with pages(browser) as open_page:
        yield shown(open_page, files)


@pytest.mark.parametrize(
    ("place", "says"),
    [
        (".name", "turntable A"),
        (".state", "moving"),
        (".angle", "31.42°"),
        (".ends", "−170°170°"),
        (".warmth", "36\u00a0°C"),
        (".health .small", "23.8\u00a0V"),
        (".health .small", "link 3\u00a0ms"),
        (".health .small", "fan 30\u00a0%"),
        (".health .small", "lost 1\u00a0%"),
        (".health .small", "clock ±0.6\u00a0ms"),
        (".age", "0.04\u00a0s old"),
    ],
)
def test_a_lane_says_every_figure_with_its_unit(lane: Page, place: str, says: str) -> None:
    expect(lane.locator(f".lane {place}")).to_contain_text(says)


@pytest.mark.parametrize(
    ("values", "says", "level"),
    [
        ({"temperature_c": 52.0, "warm": True}, "warm 52\u00a0°C", "attention"),
        ({"temperature_c": 59.0, "warm": True}, "hot 59\u00a0°C", "danger"),
    ],
    ids=["warm", "hot"],
)
def test_a_warm_joint_is_told_by_word_shape_and_colour(
    open_page: Open, files: str, values: dict[str, Any], says: str, level: str
) -> None:
    page = shown(open_page, files, **values)
    warmth = page.locator(f".lane.{level} .warmth.{level}")
    expect(warmth).to_contain_text(says)
    expect(warmth.locator(".shape")).to_have_count(1)


@pytest.mark.parametrize(
    ("state", "says"),
    [
        ("open", "sensor open –"),
        ("shorted", "sensor shorted –"),
        ("frozen", "sensor frozen –"),
        ("implausible", "sensor implausible –"),
        ("missing", "sensor gives nothing –"),
        (None, "sensor not believed –"),
    ],
)
def test_a_sensor_that_is_not_believed_shows_no_temperature_and_is_never_hot(
    open_page: Open, files: str, state: str | None, says: str
) -> None:
    broken = {"temperature_c": None, "plausible": False, "temperature_sensor": state}
    page = shown(open_page, files, **broken)
    warmth = page.locator(".lane.attention .warmth.attention")
    expect(warmth).to_contain_text(says)
    expect(warmth.locator("svg.shape")).to_have_count(1)
    expect(warmth.locator(".filled")).to_have_count(0)
    assert "hot" not in page.locator(".lane").inner_text()
    page.locator(".lane .name").click()
    expect(row(page, "temperature")).to_have_text("–")
    expect(row(page, "its temperature sensor")).to_have_text(state or "not known")


def test_no_point_of_a_sensor_that_is_not_believed_is_drawn(open_page: Open, files: str) -> None:
    first = canned.whole(1)
    first["history"]["temperature"] = {}
    feed = Feed(first)
    page = open_page(files, before=feed.attach)
    trace = page.locator(".heat .trace")
    expect(trace).to_have_attribute("points", "")
    heard = {"temperature_c": -50.0, "plausible": False, "heard_at_us": canned.NOW_US + 1}
    feed.say(canned.change(2, joints={"turntable": heard}))
    expect(page.locator(".warmth")).to_contain_text("not believed")
    expect(trace).to_have_attribute("points", "")
    believed = {"temperature_c": 31.0, "plausible": True, "heard_at_us": canned.NOW_US + 6_000_000}
    feed.say(canned.change(3, at_us=canned.NOW_US + 6_000_000, joints={"turntable": believed}))
    expect(trace).not_to_have_attribute("points", "")


def test_details_tell_how_a_joint_warms_with_intervals_or_why_not(
    open_page: Open, files: str
) -> None:
    page = shown(open_page, files)
    page.locator(".lane .name").click()
    for name, says in (
        ("in ten minutes at this load", "43.4\u00a0°C (42.7 to 44.1)"),
        ("until its warning at this load", "likely in 25\u00a0min, at the soonest in 21\u00a0min"),
        ("until its limit at this load", "not within six hours"),
        ("rest that keeps it below its limit", "25\u00a0% of the time; slower does not cool it"),
        ("time constant", "22\u00a0min (20 to 25)"),
        ("fan seen to come on, to go off", "45\u00a0°C, –"),
    ):
        expect(row(page, name)).to_have_text(says)
    unknown = dict.fromkeys(canned.HEAT) | {"why_not": "it must be watched first"}
    page = shown(open_page, files, heat=unknown)
    page.locator(".lane .name").click()
    expect(row(page, "how it warms")).to_have_text("not all is known: it must be watched first")
    expect(page.locator(".details dt", has_text="at this load")).to_have_count(0)


def row(page: Page, name: str) -> Any:
    """A row of the details."""
    return page.locator(".details dl div", has=page.locator(f"dt:text-is('{name}')")).locator("dd")


@pytest.fixture(name="details", scope="module")
def details_of_one(browser: Browser, files: str) -> Iterator[Page]:
    """A page with the details of its one joint open, for all tests that only look at them."""
    with pages(browser) as open_page:
        page = shown(open_page, files)
        page.locator(".lane .name").click()
        yield page


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("id", "3c71bf4a0000"),
        ("firmware", "0.1.0"),
        ("boot", "0000002a"),
        ("round trip, half and 99 % within", "3.1\u00a0ms, 9.4\u00a0ms"),
        ("clock uncertainty", "620\u00a0µs"),
        ("clock rate", "−12.3\u00a0ppm"),
        ("supply", "23.8\u00a0V"),
        ("supply to expect with all joints in motion", "23.1\u00a0V"),
        (
            "resistance of the way to it",
            "0.061\u00a0Ω, standard uncertainty 0.008\u00a0Ω",
        ),
        ("exchanges lost", "2 of the last 200"),
        ("connections made", "3"),
        ("restarts seen", "1"),
        ("touch control, pressed", "4"),
        ("touch control, turned by", "−6"),
    ],
)
def test_details_give_identity_clock_and_counters(details: Page, name: str, value: str) -> None:
    expect(row(details, name)).to_have_text(value)


def test_details_say_why_a_hop_is_not_fitted_and_that_a_motor_has_no_supply(
    open_page: Open, files: str
) -> None:
    supply = {
        "lost": True, "expected_v": None, "expected_message": "the supply would collapse",
        "hop_ohm": 0.05, "hop_uncertainty_ohm": None, "hop_message": "the loads did not differ",
    }  # fmt: skip
    page = shown(open_page, files, supply=supply)
    page.locator(".lane .name").click()
    expect(row(page, "motor")).to_have_text("without supply")
    expect(row(page, "supply to expect with all joints in motion")).to_have_text(
        "the supply would collapse"
    )
    expect(row(page, "resistance of the way to it")).to_have_text(
        "0.050\u00a0Ω by the arm file; not fitted: the loads did not differ"
    )


def test_details_give_the_edges_of_the_last_homing_and_what_happened_last(
    open_page: Open, files: str
) -> None:
    first = canned.whole(2)
    mine = [canned.note(canned.NOW_US - k, f"turntable said {k}") for k in range(6)]
    for note in mine:
        note["joint"] = "turntable"
    other = {**canned.note(canned.NOW_US, "shoulder said something"), "joint": "shoulder"}
    first["state"]["notes"] = [*reversed(mine), other]
    page = open_page(files, before=Feed(first).attach)
    page.locator(".lane .name").first.click()
    edges = page.locator(".details .edges li")
    expect(edges).to_have_text(
        ["−1.94°, comes on, fast", "1.94°, goes off, fast", "−1.88°, comes on, slow",
         "1.88°, goes off, slow"]
    )  # fmt: skip
    expect(page.locator(".details")).to_contain_text("Homing 2: home offset 0.35°")
    happened = page.locator(".details .happened li")
    expect(happened).to_have_count(5)
    expect(happened.first).to_contain_text("turntable said 0.")
    expect(page.locator(".details .happened")).not_to_contain_text("shoulder")


@pytest.mark.parametrize(
    ("start", "says"),
    [
        (
            {"start_delay_us": 90_000, "within_us": 1_300, "slowest": "A", "obstacle": None},
            "A start now: 90\u00a0ms ahead, all within 1.3\u00a0ms of each other; slowest link: A.",
        ),
        (
            {"start_delay_us": None, "within_us": None, "slowest": None, "obstacle": None},
            "A start now: links and clocks are still being measured.",
        ),
        (
            {
                "start_delay_us": None, "within_us": None, "slowest": None,
                "obstacle": {"code": "not-homed", "message": "elbow is not homed; home it first"},
            },
            "No start now: elbow is not homed; home it first.",
        ),
    ],
    ids=["possible", "measuring", "refused"],
)  # fmt: skip
def test_at_rest_the_page_says_whether_the_next_start_would_be_together(
    open_page: Open, files: str, start: dict[str, Any], says: str
) -> None:
    first = canned.whole(phase="idle", run=None, start_forecast=start)
    page = open_page(files, before=Feed(first).attach)
    expect(page.locator(".runbar .start")).to_have_text(says)


@pytest.mark.parametrize(
    ("values", "says", "level"),
    [
        ({"state": "ready", "stop": 1, "faults": ["over-temperature"]}, "fault", "danger"),
        (
            {"state": "faulted", "stop": 1, "energised": False, "faults": ["hall"]},
            "fault, motors off",
            "danger",
        ),
        (
            {"state": "faulted", "faults": ["supply-low"], "supply": {"lost": True}},
            "no motor supply",
            "danger",
        ),
        ({"state": "stopping", "supply": {"lost": True}}, "stopping, no motor supply", "danger"),
        ({"state": "ready", "stop": 1}, "stopped", None),
        ({"state": "unhomed", "stop": 1, "homed": False}, "stopped, not homed", None),
        ({"state": "ready", "stop": 2, "energised": False}, "motors off", None),
        ({"state": "unhomed", "energised": False, "homed": False}, "motors off, not homed", None),
        ({"state": "ready"}, "at rest", None),
        ({"state": "armed"}, "starts", None),
        ({"state": "held"}, "held", None),
        ({"state": "ramping"}, "slowing down", None),
        ({"state": "stopping", "stop": 1, "energised": True}, "stopping", None),
        ({"link": "connecting", "link_message": "its stream ended"}, "moving", "attention"),
        (
            {"state": "ready", "configuration_message": "does not take its configuration: ramp"},
            "at rest, not configured",
            "danger",
        ),
        ({"link": "offline", "heard_at_us": None, "state": None}, "offline", "attention"),
        ({"link": "conflict", "heard_at_us": canned.NOW_US - 2_000_000}, "offline", "attention"),
    ],
)
def test_a_lane_says_what_its_joint_is_about_the_gravest_first(
    open_page: Open, files: str, values: dict[str, Any], says: str, level: str | None
) -> None:
    page = shown(open_page, files, **values)
    state = page.locator(".lane .state")
    expect(state).to_have_text(says)
    expect(state).to_have_class(re.compile(rf"^state {level}$" if level else r"^state\s*$"))


def test_a_joint_that_has_no_part_in_this_line_is_not_said_to_move(
    open_page: Open, files: str
) -> None:
    first = canned.whole(3)
    planned = first["state"]["preview"]["deg"]
    for name in ("turntable", "shoulder"):
        planned[name] = [12.0] * 16
    planned["turntable"][4] += 0.01  # in 0.8 s
    for joint in first["state"]["joints"]:
        joint["velocity_deg_s"] = 0.0

    def before(page: Page) -> None:
        Feed(first).attach(page)
        stay_new(page)

    page = open_page(files, before=before)
    expect(page.locator(".lane .state")).to_have_text(["moving", "waits", "moving"])


def test_each_word_has_a_shape_of_its_own(open_page: Open, files: str) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    shapes = page.evaluate(
        """async () => {
            const { armSign, jointSign } = await import("/app/signs.js");
            const words = ["moving", "homing", "starts", "held", "paused", "stopped", "motors off",
                "at rest", "not known"];
            const arm = words.map((word) => armSign({ condition: { word } }, false).shape);
            const state = (state) => jointSign({ state, link: "up", energised: true }, true)[0];
            return [arm, [state("moving"), state("ramping"), state("held"), state("armed")]];
        }"""
    )
    for alike in shapes:
        assert len(set(alike)) == len(alike)


def test_outputs_and_inputs_are_told_by_name_and_an_output_can_be_switched(
    open_page: Open, files: str
) -> None:
    tool = {"outputs": {"gripper": True}, "inputs": {"seedling_held": False}}
    page = shown(open_page, files, **tool)
    expect(page.locator(".lane .tool")).to_have_text("gripper on, seedling_held off")
    asked: list[Any] = []

    def taken(route: Route) -> None:
        asked.append(route.request.post_data_json)
        route.fulfill(json={"phase": "idle", "unconfirmed": []})

    page.route("**/api/v1/output", taken)
    page.get_by_role("button", name=re.compile("turntable")).first.click()
    details = page.get_by_role("region", name="Details of turntable")
    details.get_by_role("button", name="Switch gripper off").click()
    expect(details).to_contain_text("gripper is on")
    assert asked == [{"output": "gripper", "on": False}]


def test_a_joint_without_outputs_says_nothing_of_them(open_page: Open, files: str) -> None:
    page = shown(open_page, files, outputs={}, inputs={})
    expect(page.locator(".lane .tool")).to_have_count(0)
