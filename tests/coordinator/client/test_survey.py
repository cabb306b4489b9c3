"""Surveys of links by both clients; the coordinator is a stand-in."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from coordinator.api.responses.base import plain
from coordinator.api.responses.survey import CANCELLED_SURVEY, SURVEY, SURVEYING
from coordinator.client import Refused, SurveyEnded
from tests.coordinator.cli.servers import served
from tests.coordinator.client.asked import Coordinator, blocking, in_a_loop, told

PLACE = "/survey"
Ask = Callable[..., Any]


@pytest.fixture(name="ask", params=[blocking, in_a_loop])
def one_of_both_clients(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """A client that waits for nothing as long as people do."""
    monkeypatch.setattr("coordinator.client.questions.patience.LOOK_S", 0.0)
    ask: Ask = request.param
    return ask


def test_what_is_asked_goes_as_it_is_and_how_it_goes_is_a_value(ask: Ask) -> None:
    coordinator = Coordinator({PLACE: [plain(SURVEYING), plain(SURVEY), plain(CANCELLED_SURVEY)]})
    with served(coordinator) as url:
        assert ask(url, "survey", ["elbow"], 30.0) == SURVEYING
        assert ask(url, "surveying") == SURVEY
        assert ask(url, "cancel_survey") == CANCELLED_SURVEY
    body = {"joints": ["elbow"], "for_s": 30.0}
    assert coordinator.asked == [(PLACE, body), (PLACE, None), (PLACE, None)]


def test_to_wait_ends_with_what_it_found_or_with_why_it_came_to_nothing(ask: Ask) -> None:
    later = replace(SURVEYING, exchanges=900)
    with served(Coordinator({PLACE: [plain(one) for one in (SURVEYING, later, SURVEY)]})) as url:
        assert ask(url, "survey_and_wait") == SURVEY
    with (
        served(Coordinator({PLACE: [plain(SURVEYING), plain(CANCELLED_SURVEY)]})) as url,
        pytest.raises(SurveyEnded, match="the survey was cancelled") as error,
    ):
        ask(url, "survey_and_wait")
    assert error.value.survey == CANCELLED_SURVEY


def test_a_refusal_keeps_its_code(ask: Ask) -> None:
    problem = {"type": "urn:unisono:problem:running", "status": 409, "detail": "no"}
    with (
        served(Coordinator({PLACE: [told(problem, 409)]})) as url,
        pytest.raises(Refused) as error,
    ):
        ask(url, "survey")
    assert error.value.code == "running"
