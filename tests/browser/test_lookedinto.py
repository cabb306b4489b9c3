"""Details of a joint: its link by the newest survey, how its hop wears, and how sure that is."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_history import WEAR
from coordinator.api.responses.survey import CANCELLED_SURVEY, SURVEY, SURVEYING
from coordinator.codes.survey_word import LinkVerdict
from coordinator.core.surveying import NONE_ASKED, SurveySnapshot
from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well

ELBOW = 2
HOP = WEAR.hop
assert HOP is not None
NO_DAY = replace(HOP, passes=None, earliest=None, latest=None, ohm_per_day=None)


def details(open_page: Open, files: str, answers: dict[str, Any], **opening: Any) -> Page:
    """The page with the elbow's details open, and what it is told where it asks."""
    first = canned.whole(phase="idle", run=None)
    first["state"]["joints"] = [canned.joint(ELBOW)]

    def before(page: Page) -> None:
        Feed(first).attach(page)
        stay_new(page)
        for path, answer in answers.items():
            page.route(f"**/api/v1{path}", telling(answer))

    page = open_page(files, before=before, **opening)
    page.locator(".lane .name").click()
    return page


def telling(answer: Any) -> Callable[[Route], None]:
    """Answers whoever asks with that."""
    return lambda route: route.fulfill(json=answer)


def part(page: Page) -> Locator:
    return page.get_by_role("region", name="Details of elbow")


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
def test_the_verdict_of_the_survey_and_the_wear_of_the_hop_are_told_with_how_sure_they_are(
    open_page: Open, files: str, size: dict[str, int]
) -> None:
    page = details(open_page, files, {}, size=size, bypass_csp=True)
    told = part(page)
    expect(told.get_by_role("heading", name="Link by the newest survey")).to_be_visible()
    expect(told).to_contain_text("Usable.")
    expect(told).to_contain_text("Power save is on in this joint's firmware")
    expect(told).to_contain_text("Switch power save of its radio off in the firmware")
    expect(told).to_contain_text(
        "Of 1500 exchanges 5 were lost, 0.14\u00a0% to 0.78\u00a0% by a 95 % interval"
    )
    expect(told).to_contain_text("what came since is not in it. It is no measure of safety")
    expect(told.get_by_role("heading", name="Wear of the hop to it")).to_be_visible()
    expect(told).to_contain_text(
        "It has 0.062\u00a0Ω, standard uncertainty 0.004\u00a0Ω. With all joints in motion the arm "
        "bears 0.914\u00a0Ω there."
    )
    expect(told).to_contain_text(
        "If that goes on and nothing else changes, it passes that about 2028-04-06, by its 90 % "
        "interval from 2028-02-01 to 2028-06-17. Of simulated rings 95 % held to theirs; no real "
        "one was measured. By 92 days with a value, from 2026-01-12 to 2026-05-01."
    )
    page.screenshot(path=SHOTS / f"lookedinto-{size['width']}.png", full_page=True)
    looks_well(page)


GOOD = replace(
    SURVEY.results[0], verdict=LinkVerdict.GOOD, findings=(), message="elbow: its link is good: …"
)


@pytest.mark.parametrize(
    ("survey", "says"),
    [
        (NONE_ASKED, "No survey of links was asked for since the coordinator began."),
        (SURVEYING, "Measuring, 0 exchanges so far."),
        (CANCELLED_SURVEY, "nothing is told of what was measured."),
        (replace(SURVEY, results=SURVEY.results[1:]), "This joint was not in it."),
        (replace(SURVEY, results=(replace(SURVEY.results[1], joint="elbow"),)), "Not known."),
        (replace(SURVEY, results=(GOOD,)), "Good. elbow: its link is good: …"),
    ],
    ids=["none", "measuring", "cancelled", "another", "too few", "good"],
)
def test_a_link_that_was_not_surveyed_has_no_verdict(
    open_page: Open, files: str, survey: SurveySnapshot, says: str
) -> None:
    told = part(details(open_page, files, {"/survey": plain(survey)}))
    expect(told).to_contain_text(says)
    if survey.phase != "done":
        expect(told).not_to_contain_text("exchanges 5 were lost")


@pytest.mark.parametrize(
    ("hop", "says", "danger"),
    [
        (None, "It is not known: the coordinator is an older one.", False),
        (
            replace(NO_DAY, ohm=None, message="it is new", days=0, since=None, reason="no days"),
            "It is not fitted: it is new.",
            False,
        ),
        (replace(NO_DAY, reason="no rise is told"), "is not known: no rise is told.", False),
        (replace(HOP, earliest="2026-01-20"), "It may have passed that already.", False),
        (replace(HOP, beyond=True), "It has more than the arm bears.", True),
        (
            replace(NO_DAY, limit_ohm=None, beyond=True, reason="one is below"),
            "The arm has not enough supply for all joints in motion.",
            True,
        ),
    ],
    ids=["older", "not fitted", "no rise", "already", "beyond", "none borne"],
)
def test_what_is_not_known_of_a_hop_or_is_too_much_is_said_first(
    open_page: Open, files: str, hop: Any, says: str, danger: bool
) -> None:
    page = details(open_page, files, {"/joints/elbow/wear": plain(replace(WEAR, hop=hop))})
    told = part(page)
    expect(told).to_contain_text(says)
    # By shape and word, not by colour alone.
    expect(told.locator("p.danger .shape")).to_have_count(int(danger))
