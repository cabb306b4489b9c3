"""What a joint was and did, as the API tells it."""

import asyncio
import csv
import io
import threading
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.answers.joint_history import HopWear, JointHistory
from coordinator.api import create_app, joints
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.history.cells import CellKey, cell_of
from coordinator.history.collector import Collector
from coordinator.history.quantities import Counts, reading
from coordinator.records import joint_history as keeping
from coordinator.records.hop_answer import hop_wear
from coordinator.service import Service
from coordinator.store import Store, joint_history
from coordinator.store.utc import unix_now_s
from tests.coordinator.api.conftest import BASE
from tests.coordinator.api.test_api import problem

HOUR_S = 3_600
NOON_S = 1_777_636_800
"""2026-05-01T12:00:00Z."""


@pytest.fixture(name="http")
async def http_of_a_joint_with_a_past(tmp_path: Path) -> AsyncIterator[httpx2.AsyncClient]:
    """The elbow was heard for ten minutes from that noon on, and just now."""
    make_key(tmp_path)
    collector = Collector()
    did = Counts(on_us=1_000_000, moving_us=500_000, starts=1, reversals=1, distance_udeg=2_500_000)
    for after_s in range(600):
        warm = 61.5 if after_s == 333 else 40.0
        collector.add(
            "elbow",
            NOON_S + after_s,
            cell_of(reading(warm, 24, 9_000, 0.01, None, None, None), did),
        )
    collector.add(
        "elbow", unix_now_s() - 60, cell_of(reading(30, 24, None, None, 250, 0.05, None), Counts())
    )
    cells = collector.drained()
    assert CellKey(HOUR_S, "elbow", NOON_S) in cells
    store = Store(tmp_path)
    await store.write(lambda connection: joint_history.add(connection, cells))
    await store.close()
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    transport = httpx2.ASGITransport(create_app(service), raise_app_exceptions=False)
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as http:
        yield http
    await service.close()


DAY = {"from": "2026-05-01T00:00:00Z", "to": "2026-05-02T02:00:00+02:00"}


async def test_a_day_of_long_ago_is_told_by_the_hour_with_every_extreme(
    http: httpx2.AsyncClient,
) -> None:
    told = (await http.get("/joints/elbow/history", params={**DAY, "points": 50})).json()
    assert (told["joint"], told["stretch_s"], told["start_s"]) == ("elbow", HOUR_S, [NOON_S])
    assert told["temperature_c"] == {
        "min": [40.0], "max": [61.5], "mean": [40.035833], "count": [600]
    }  # fmt: skip
    unknown = {"min": [None], "max": [None], "mean": [None], "count": [0]}
    assert told["clock_uncertainty_us"] == unknown
    assert (told["on_s"], told["moving_s"]) == ([600.0], [300.0])
    assert (told["starts"], told["reversals"], told["distance_deg"]) == ([600], [600], [1500.0])
    assert told["temperature_limit_c"] > told["temperature_warning_c"] > 0


async def test_without_a_time_it_is_the_last_hour_by_seconds(http: httpx2.AsyncClient) -> None:
    told = (await http.get("/joints/elbow/history")).json()
    assert told["stretch_s"] in (9, 10)  # as the hour begins in a stretch or within one
    assert told["temperature_c"]["max"] == [30.0]
    never = (await http.get("/joints/tool/history")).json()
    assert never["start_s"] == []


@pytest.mark.parametrize(
    ("query", "accept"),
    [({"format": "csv"}, "*/*"), ({}, "text/csv"), ({"format": "csv"}, "application/json")],
)
async def test_a_table_is_asked_for_by_its_name_or_its_media_type(
    http: httpx2.AsyncClient, query: dict[str, str], accept: str
) -> None:
    path, headers = "/joints/elbow/history", {"Accept": accept}
    answer = await http.get(path, params={**DAY, **query}, headers=headers)
    assert answer.headers["content-type"].partition(";")[0] == "text/csv"
    assert answer.headers["content-disposition"] == 'attachment; filename="elbow-history.csv"'
    assert answer.text.count("\r\n") == 2
    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert row["utc"] == "2026-05-01T12:00:00+00:00"
    assert (row["temperature_c_max"], row["clock_uncertainty_us_max"]) == ("61.5", "")
    assert (row["starts"], row["distance_deg"]) == ("600", "1500.0")


async def test_while_a_table_is_made_the_loop_goes_on(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = asyncio.Event(), threading.Event()
    loop = asyncio.get_running_loop()

    def slowly(_found: JointHistory) -> str:
        loop.call_soon_threadsafe(begun.set)
        assert go_on.wait(30), "the loop did not go on"
        return "made\r\n"

    monkeypatch.setattr(joints, "history_csv", slowly)
    asked = asyncio.create_task(http.get("/joints/elbow/history", params={"format": "csv"}))
    await begun.wait()
    assert (await http.get("/joints/elbow/wear")).status_code == 200
    go_on.set()
    assert (await asked).text == "made\r\n"


async def test_json_is_told_where_both_would_do(http: httpx2.AsyncClient) -> None:
    for accept in ("*/*", "text/html,*/*;q=0.8", "application/json, text/csv"):
        answer = await http.get("/joints/elbow/history", headers={"Accept": accept})
        assert answer.headers["content-type"] == "application/json"
    headers = {"Accept": "text/csv"}
    told = await http.get("/joints/elbow/history", params={"format": "json"}, headers=headers)
    assert told.headers["content-type"] == "application/json"


@pytest.mark.parametrize(
    "query",
    [
        {"points": 1},
        {"points": 2001},
        {"from": "2026-05-01T00:00:00"},
        {"from": "2026-05-01T00:00:00Z", "to": "2026-05-01T00:00:00Z"},
        {"from": "2300-01-01T00:00:00Z"},
        {"to": "1969-01-01T00:00:00Z"},
        {"from": "yesterday"},
        {"format": "xml"},
    ],
)
async def test_what_cannot_be_asked_for_is_told(
    http: httpx2.AsyncClient, query: dict[str, str]
) -> None:
    problem(await http.get("/joints/elbow/history", params=query), 422, "invalid")


async def test_an_answer_has_its_bound_however_long_the_time_is(http: httpx2.AsyncClient) -> None:
    ages = {"from": "1970-01-01T00:00:00Z", "to": "2200-01-01T00:00:00Z", "points": "2"}
    told = (await http.get("/joints/elbow/history", params=ages)).json()
    assert len(told["start_s"]) <= 2
    assert sum(told["temperature_c"]["count"]) == 601


async def test_what_a_joint_has_done_in_all_is_told(http: httpx2.AsyncClient) -> None:
    told = (await http.get("/joints/elbow/wear")).json()
    hop = told.pop("hop")
    assert told == {
        "joint": "elbow", "since_utc": "2026-05-01T12:00:00+00:00", "on_s": 600.0,
        "moving_s": 300.0, "starts": 600, "reversals": 600, "distance_deg": 1500.0,
    }  # fmt: skip
    # It was read once, just now, and nothing is fitted in this session.
    assert (hop["ohm"], hop["days"], hop["passes"]) == (None, 1, None)
    assert hop["message"] == "loads stood still 0 times so far, 8 are needed"
    assert hop["reason"] == "1 days have a value so far, 8 are needed"
    assert hop["limit_ohm"] > 0.05
    assert (await http.get("/joints/tool/wear")).json()["since_utc"] is None


async def test_how_a_hop_wears_is_told_from_an_instant_on(http: httpx2.AsyncClient) -> None:
    later = {"from": datetime.now(UTC).isoformat()}
    told = (await http.get("/joints/elbow/wear", params=later)).json()
    assert (told["hop"]["days"], told["starts"]) == (0, 600)
    for wrong in ("2026-05-01T00:00:00", "yesterday", "2300-01-01T00:00:00Z"):
        answer = await http.get("/joints/elbow/wear", params={"from": wrong})
        problem(answer, 422, "invalid")
    # Nothing is known of what is to come; that would look as if nothing were known at all.
    answer = await http.get("/joints/elbow/wear", params={"from": "2199-01-01T00:00:00Z"})
    assert "but must not be to come" in str(problem(answer, 422, "invalid"))


async def test_how_a_hop_wears_is_reckoned_where_it_is_read_and_not_by_the_loop(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    made_by: list[threading.Thread] = []

    def noted(*asked: Any) -> HopWear:
        made_by.append(threading.current_thread())
        return hop_wear(*asked)

    monkeypatch.setattr(keeping, "hop_wear", noted)
    assert (await http.get("/joints/elbow/wear")).status_code == 200
    assert [one is threading.current_thread() for one in made_by] == [False]


async def test_a_joint_that_the_arm_does_not_have_is_not_found(http: httpx2.AsyncClient) -> None:
    for what in ("history", "wear"):
        said = problem(await http.get(f"/joints/thumb/{what}"), 404, "not-found")
        assert "there is no joint 'thumb'" in str(said)
