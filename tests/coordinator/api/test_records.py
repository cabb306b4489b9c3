"""What is kept, as the API tells it: runs, programs, homings and the journal."""

import asyncio
import sqlite3
import threading
from collections.abc import AsyncIterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app, records
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.service import Service
from coordinator.store import Store, homings, runs
from tests.coordinator.api.test_api import BASE, problem

PROGRAM = "(grüne Keimlinge)\r\nG0 A10\r\n<script>M2\n"
HOMING: dict[str, Any] = {
    "number": 7, "state": "done", "message": "", "current": None, "asked": ["tool"],
    "joints": {"tool": {"edges": [1, 2, 3], "middle": 2, "home_offset_deg": 0.25}},
}  # fmt: skip


def run(number: int) -> dict[str, Any]:
    return {
        "run": number, "name": "a.nc", "outcome": "finished", "message": "",
        "began_utc": "2026-05-01T10:00:00+00:00", "ended_utc": "2026-05-01T10:01:00+00:00",
    }  # fmt: skip


@pytest.fixture(name="client")
async def client_of_a_coordinator_with_a_past(
    tmp_path: Path,
) -> AsyncIterator[httpx2.AsyncClient]:
    make_key(tmp_path)
    store = Store(tmp_path)
    await store.write(lambda connection: runs.save(connection, run(3)))
    await store.write(lambda connection: runs.begin(connection, run(4), PROGRAM))
    await store.write(lambda connection: homings.save(connection, HOMING, "2026-05-01T09:00:00Z"))
    await store.close()
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    transport = httpx2.ASGITransport(create_app(service), raise_app_exceptions=False)
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as client:
        yield client
    await service.close()


async def test_runs_are_told_in_short_and_one_with_its_report(client: httpx2.AsyncClient) -> None:
    told = (await client.get("/api/v1/runs")).json()["runs"]
    keys = ("run", "name", "outcome", "began_utc", "ended_utc")
    assert told == [
        {**{key: run(number)[key] for key in keys}, "taught": None} for number in (4, 3)
    ]
    page = (await client.get("/api/v1/runs?before=4&limit=1")).json()["runs"]
    assert [one["run"] for one in page] == [3]
    for wrong in ("before=0", "limit=0", "limit=501", "limit=x"):
        problem(await client.get(f"/api/v1/runs?{wrong}"), 422, "invalid")
    report = (await client.get("/api/v1/runs/3/report")).json()
    assert report.pop("written_utc")
    assert report == run(3)
    progress = (await client.get("/api/v1/runs/3")).json()
    assert (progress["phase"], progress["outcome"]) == ("ended", "finished")


async def test_program_is_told_exactly_and_as_nothing_but_text(client: httpx2.AsyncClient) -> None:
    response = await client.get("/api/v1/runs/4/program")
    assert response.content == PROGRAM.encode()
    assert response.headers["content-type"] == "text/plain; charset=utf-8"
    assert response.headers["x-content-type-options"] == "nosniff"
    for number in (3, 5):  # from before there was a database; never played
        problem(await client.get(f"/api/v1/runs/{number}/program"), 404, "not-found")


async def test_record_is_a_file_to_be_saved_in_which_nothing_can_act(
    client: httpx2.AsyncClient,
) -> None:
    response = await client.get("/api/v1/runs/4/record")
    assert response.status_code == 200
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    assert response.headers["content-disposition"] == 'attachment; filename="run-4.html"'
    assert response.headers["x-content-type-options"] == "nosniff"
    policy = response.headers["content-security-policy"]
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    assert "&lt;script&gt;M2" in response.text
    assert "<script" not in response.text
    assert "Its text is not known." in (await client.get("/api/v1/runs/3/record")).text
    problem(await client.get("/api/v1/runs/5/record"), 404, "not-found")


async def test_records_are_made_one_at_a_time_and_another_is_asked_to_come_later(
    client: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = asyncio.Event(), threading.Event()
    loop = asyncio.get_running_loop()

    def slowly(_kept: object) -> str:
        loop.call_soon_threadsafe(begun.set)
        go_on.wait()
        return "<html/>"

    monkeypatch.setattr(records, "run_record", slowly)
    first = asyncio.create_task(client.get("/api/v1/runs/4/record"))
    await begun.wait()
    second = await client.get("/api/v1/runs/3/record")
    go_on.set()
    problem(second, 503, "busy")
    assert second.headers["retry-after"]
    assert (await first).status_code == 200
    assert (await client.get("/api/v1/runs/3/record")).status_code == 200


async def test_homing_is_told_with_all_edges_by_every_later_coordinator(
    client: httpx2.AsyncClient,
) -> None:
    assert (await client.get("/api/v1/homings/7")).json() == HOMING
    problem(await client.get("/api/v1/homings/8"), 404, "not-found")


async def test_what_the_newest_homing_of_a_joint_found_is_told(client: httpx2.AsyncClient) -> None:
    told = await client.get("/api/v1/joints/tool/homing")
    assert told.json() == {"homing": 7, **HOMING["joints"]["tool"]}
    never = (await client.get("/api/v1/joints/elbow/homing")).json()
    assert never == {
        "homing": None, "edges": [], "middle": None, "home_offset_deg": None, "shift_deg": None,
        "temperature_c": None, "controller": None, "figures": None, "wandered_deg": None,
        "reference": None, "since_reference_deg": None,
    }  # fmt: skip
    nobody = problem(await client.get("/api/v1/joints/thumb/homing"), 404, "not-found")
    assert "there is no joint 'thumb'" in str(nobody)


async def test_commands_and_what_followed_are_in_the_journal_with_who_asked(
    client: httpx2.AsyncClient,
) -> None:
    named = {"Unisono-Client": "test-client", "Unisono-Client-Name": "the phone"}
    await client.post("/api/v1/stop", json={"level": "release"}, headers=named)
    # Whoever names itself wrongly may stop all the same.
    await client.post("/api/v1/stop", json={}, headers={"Unisono-Client": "?"})
    await client.post("/api/v1/home", json={}, headers=named)  # refused: nothing came of it
    told: list[dict[str, Any]] = []
    async with asyncio.timeout(60):  # nothing waits for the journal, so this must
        while len(told) < 4:
            told = (await client.get("/api/v1/events?details=true")).json()["events"]
    assert [(one["code"], one["message"], one["who"]) for one in told] == [
        ("stop", "the operator asked", None),
        ("command-stop", "stop, level stop", "somebody"),
        ("stop", "the operator asked", None),
        ("command-stop", "stop, level release", "the phone"),
    ]
    assert [one["detail"] for one in told] == [True, False, True, False]
    lines = (await client.get("/api/v1/events")).json()["events"]
    assert lines == [one for one in told if not one["detail"]]
    assert (await client.get("/api/v1/events?details=false")).json()["events"] == lines
    assert all(one["utc"] and one["at_us"] > 0 and one["joint"] is None for one in told)
    older = await client.get("/api/v1/events", params={"before": told[1]["id"], "limit": 1})
    assert older.json() == {"events": [told[3]]}


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=501", "before=0", "before=x", "limit=1e3", "details=some"]
)
async def test_page_of_events_has_its_bounds(client: httpx2.AsyncClient, query: str) -> None:
    problem(await client.get(f"/api/v1/events?{query}"), 422, "invalid")


async def test_database_that_fails_is_a_problem_of_its_own(
    client: httpx2.AsyncClient, tmp_path: Path
) -> None:
    with closing(sqlite3.connect(tmp_path / "unisono.db")) as database:
        database.execute("DROP TABLE runs")
    for path in ("/runs", "/runs/3", "/runs/3/report", "/runs/3/program", "/runs/3/record"):
        body = problem(await client.get(f"/api/v1{path}"), 503, "store")
        assert str(tmp_path / "unisono.db") in body["detail"]
    assert (await client.get("/api/v1/arm")).status_code == 200
    assert (await client.post("/api/v1/stop", json={})).status_code == 200


async def test_how_well_a_joint_finds_its_home_again_is_told_of_each_joint(
    client: httpx2.AsyncClient,
) -> None:
    told = (await client.get("/api/v1/joints/elbow/homings")).json()
    assert (told["joint"], told["homings"]) == ("elbow", [])
    assert "it takes 5 in a row" in told["rising_deviation_deg"]["why"]
    nobody = problem(await client.get("/api/v1/joints/thumb/homings"), 404, "not-found")
    assert "there is no joint 'thumb'" in str(nobody)
