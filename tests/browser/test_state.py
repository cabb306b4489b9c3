"""How messages of the feed change what the page knows; the module runs in the browser, alone."""

from typing import Any

from playwright.sync_api import Page

from tests.browser import canned
from tests.browser.conftest import Feed, Open

_APPLY = """async (messages) => {
    const { apply, nothing } = await import("/app/state.js");
    let model = nothing();
    for (const [message, ms] of messages) model = apply(model, message, ms);
    return model;
}"""


def applied(page: Page, *messages: tuple[dict[str, Any], float]) -> Any:
    """The model after these messages at these local times in ms."""
    return page.evaluate(_APPLY, [list(one) for one in messages])


def test_changes_alter_what_they_name_and_leave_the_rest(open_page: Open, files: str) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    first = canned.whole()
    later = canned.change(
        2,
        set={"phase": "holding"},
        joints={"elbow": {"position_deg": 1.5, "heard_at_us": canned.NOW_US + 90_000}},
        notes=[canned.note(canned.NOW_US, "Hold.")],
    )
    model = applied(page, (first, 1000), (later, 1100))
    arm = model["arm"]
    before = first["state"]
    assert (arm["phase"], arm["arm"], arm["run"]) == ("holding", before["arm"], before["run"])
    assert arm["joints"][2] == {**before["joints"][2], **later["joints"]["elbow"]}
    assert arm["joints"][1] == before["joints"][1]
    assert [note["message"] for note in arm["notes"]][-1] == "Hold."
    track = model["tracks"]["elbow"]
    assert (track["at"][-1], track["value"][-1]) == (canned.NOW_US + 90_000, 1.5)

    # A joint that was not heard anew gets no new point: its line ends where it was heard last.
    silent = applied(page, (first, 1000), (canned.change(2), 1100))
    assert silent["tracks"]["elbow"]["at"][-1] == first["state"]["joints"][2]["heard_at_us"]

    # A number left out means that something was missed.
    assert applied(page, (first, 1000), (canned.change(3), 1100)) is None


def test_a_start_that_is_withdrawn_is_not_said_to_be_set_any_more(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    began = canned.run()
    waiting = canned.run(start={**began["start"], "set": True})
    first = canned.whole(run=waiting)
    withdrawn = canned.change(2, set={"run": canned.run(start=None)})
    assert applied(page, (first, 1000), (withdrawn, 1100))["start"] is None
    ended = canned.change(2, set={"run": None})
    assert applied(page, (first, 1000), (ended, 1100))["start"] is None

    # One that all have kept stays known after its run has ended.
    assert applied(page, (canned.whole(), 1000), (ended, 1100))["start"] == began["start"]


def test_a_temperature_is_kept_when_its_joint_was_heard_not_when_it_is_told(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    first = canned.whole()
    late = canned.NOW_US + 60_000_000
    silent = canned.change(2, at_us=late)
    heats = applied(page, (first, 1000), (silent, 61_000))["heats"]["elbow"]
    heard_us = first["state"]["joints"][2]["heard_at_us"]
    assert heats["at"][-1] <= heard_us

    heard = canned.change(2, at_us=late, joints={"elbow": {"heard_at_us": late - 30_000}})
    heats = applied(page, (first, 1000), (heard, 61_000))["heats"]["elbow"]
    assert heats["at"][-1] == late - 30_000


def test_a_path_time_ahead_is_as_far_away_as_the_rate_makes_it(open_page: Open, files: str) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    ahead = """async ([run, pathUs]) => (await import("/app/state.js")).aheadS(run, pathUs)"""
    run = {"path_us": 1_000_000, "rate_percent": 50}
    assert page.evaluate(ahead, [run, 2_000_000]) == 2.0
    assert page.evaluate(ahead, [{**run, "rate_percent": 0}, 2_000_000]) is None
    assert page.evaluate(ahead, [run, None]) is None


def test_figures_have_a_true_minus_their_unit_and_a_dash_for_what_is_unknown(
    open_page: Open, files: str
) -> None:
    page = open_page(files, before=Feed(canned.whole()).attach)
    figure = """async (all) => {
        const { figure } = await import("/app/figures.js");
        return all.map((one) => figure(...one));
    }"""
    asked = [[-12.069, 2, "°"], [-0.001, 2, "°"], [None, 1, "V"], [23.84, 1, "V"]]
    assert page.evaluate(figure, asked) == ["−12.07°", "0.00°", "–", "23.8\u00a0V"]
