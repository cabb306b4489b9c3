"""Surveys over the API: begun, told, cancelled. The arm has none of its joints."""

import httpx2
import pytest

from coordinator.api.responses.table import RESPONSES
from coordinator.core.surveying import Survey


def verdict(answer: httpx2.Response) -> tuple[int, str]:
    return answer.status_code, answer.json()["type"].removeprefix("urn:unisono:problem:")


async def test_a_survey_is_begun_told_and_cancelled_with_exactly_the_members_described(
    http: httpx2.AsyncClient,
) -> None:
    begun = await http.post("/survey", json={"for_s": 10.0})
    assert begun.status_code == 202
    assert begun.headers["location"] == "/api/v1/survey"
    assert verdict(await http.post("/survey", json={})) == (409, "surveying")
    told = await http.get("/survey")
    cancelled = await http.delete("/survey")
    for name, answer in (("POST", begun), ("GET", told), ("DELETE", cancelled)):
        RESPONSES[f"{name} /survey"].adapter.validate_json(answer.content)
    assert (told.json()["phase"], told.json()["for_s"]) == ("measuring", 10.0)
    assert cancelled.json()["phase"] == "cancelled"
    assert verdict(await http.delete("/survey")) == (409, "no-survey")
    events = (await http.get("/events")).json()["events"]
    words = [event["message"] for event in events if event["code"].startswith("command-")]
    assert words == ["cancel the survey of links", "survey the links of all joints for 10 s"]


async def test_figures_are_told_once_it_is_done_and_not_before(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    await http.post("/survey", json={})
    assert (await http.get("/survey")).json()["results"] == []
    monkeypatch.setattr(Survey, "is_complete", lambda survey, now: True)
    await http.post("/stop", json={})  # so that the core looks at what is due
    told = (await http.get("/survey")).json()
    assert told["phase"] == "done"
    assert {one["verdict"] for one in told["results"]} == {"not known"}
    assert [one["joint"] for one in told["results"]] == told["joints"]


async def test_before_any_was_asked_for_there_is_none(http: httpx2.AsyncClient) -> None:
    answer = await http.get("/survey")
    RESPONSES["GET /survey"].adapter.validate_json(answer.content)
    told = answer.json()
    assert (told["phase"], told["results"]) == ("none", [])
    assert told["message"] == "no survey of links was asked for since the coordinator began"


@pytest.mark.parametrize(
    ("body", "answer"),
    [
        ({"for_s": 9.9}, (422, "invalid")),
        ({"for_s": 601}, (422, "invalid")),
        ({"joints": "elbow"}, (422, "invalid")),
        ({"joints": ["knee"]}, (422, "joint-unknown")),
        ({"joints": ["elbow"]}, (409, "joint-offline")),
    ],
)
async def test_what_cannot_be_is_refused(
    http: httpx2.AsyncClient, body: dict[str, object], answer: tuple[int, str]
) -> None:
    assert verdict(await http.post("/survey", json=body)) == answer
    assert (await http.get("/survey")).json()["phase"] == "none"
