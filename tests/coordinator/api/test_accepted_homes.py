"""A joint whose home wandered, as the API tells it, and that somebody accepts it for good."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.core.homing import FoundEdge, HomingSnapshot, HomingState, JointHoming
from coordinator.health.home_state import HomeState
from coordinator.records.homings import HomingKeeper
from coordinator.service import Service
from coordinator.store import Store, StoreError, homings
from tests.as_json import as_json
from tests.coordinator.api.conftest import BASE
from tests.coordinator.api.test_api import problem

EDGES = FoundEdge(0, True, False, -1.5), FoundEdge(300, False, False, 1.5)
PATH = "/joints/elbow/home/accept"


def homing(number: int, shift_deg: float | None) -> dict[str, Any]:
    """One of the elbow as it is kept."""
    found = JointHoming(EDGES, 150, 0.0, shift_deg, 30.0, "3c71bf4a0003", "100 counts/°")
    done = HomingSnapshot(number, HomingState.DONE, "", None, ("elbow",), {"elbow": found})
    kept: dict[str, Any] = as_json(done)
    return kept


async def keep(folder: Path, *kept: dict[str, Any]) -> None:
    store = Store(folder)
    for one in kept:
        await store.write(
            lambda connection, one=one: homings.save(connection, one, "2026-05-01T09:00:00Z")  # type: ignore[misc]
        )
    await store.close()


@asynccontextmanager
async def coordinator_of(folder: Path) -> AsyncIterator[httpx2.AsyncClient]:
    """One that has begun, none of whose joints is there."""
    service = Service(load_arm(DEMO_ARM), folder, "127.0.0.1")
    await service.open()
    transport = httpx2.ASGITransport(create_app(service))
    try:
        async with httpx2.AsyncClient(transport=transport, base_url=BASE) as http:
            yield http
    finally:
        await service.close()


async def wandered_deg(http: httpx2.AsyncClient) -> float | None:
    told = (await http.get("/joints/elbow/homings")).json()
    assert told["shift_limit_deg"] == 0.045  # half of 1.8° over 20
    found: float | None = told["wandered_deg"]
    return found


async def test_home_that_wandered_is_accepted_once_and_that_outlives_the_coordinator(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    await keep(tmp_path, homing(1, None), homing(2, 0.03), homing(3, 0.02), homing(4, -0.04))
    async with coordinator_of(tmp_path) as http:
        assert await wandered_deg(http) == 0.05
        assert (await http.post(PATH)).status_code == 200
        assert await wandered_deg(http) is None
        told = (await http.get("/joints/elbow/homings")).json()["homings"]
        assert [one["reference"] for one in told] == [1, 1, 1, 4]
        (line,) = [
            one
            for one in (await http.get("/arm")).json()["notes"]
            if one["code"] == "home-accepted"
        ]
        assert "accepted the home of elbow as it is: home was found +0.05°" in line["message"]
        problem(await http.post(PATH), 409, "nothing-to-accept")
    await keep(tmp_path, homing(5, 0.04))
    async with coordinator_of(tmp_path) as http:
        assert await wandered_deg(http) is None
        problem(await http.post(PATH), 409, "nothing-to-accept")
    await keep(tmp_path, homing(6, 0.006))
    async with coordinator_of(tmp_path) as http:
        assert await wandered_deg(http) == 0.046


async def test_home_that_nobody_accepted_is_still_to_be_accepted_after_a_restart(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    # A homing after a restart of the joint, which knows nothing of before, does not mend it.
    await keep(tmp_path, homing(1, None), homing(2, 0.5), homing(3, None))
    async with coordinator_of(tmp_path) as http:
        assert await wandered_deg(http) == 0.5
    async with coordinator_of(tmp_path) as http:
        assert (await http.post(PATH)).status_code == 200


async def test_only_a_joint_of_the_arm_whose_home_wandered_is_accepted(tmp_path: Path) -> None:
    make_key(tmp_path)
    async with coordinator_of(tmp_path) as http:
        problem(await http.post(PATH), 409, "nothing-to-accept")
        problem(await http.post("/joints/thumb/home/accept"), 422, "joint-unknown")


async def test_that_it_is_not_known_whether_home_wandered_is_told_as_a_danger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def unreadable(*_asked: object) -> dict[str, HomeState]:
        raise StoreError("the disk hangs")

    make_key(tmp_path)
    monkeypatch.setattr(HomingKeeper, "homes", unreadable)
    async with coordinator_of(tmp_path) as http:
        notes = (await http.get("/arm")).json()["notes"]
        (line,) = [one for one in notes if one["code"] == "homes-unknown"]
        assert line["level"] == "danger"
        assert "the disk hangs" in line["message"]


async def test_a_home_whose_acceptance_cannot_be_kept_is_not_accepted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def unwritable(*_asked: object) -> None:
        raise StoreError("the disk is full")

    make_key(tmp_path)
    await keep(tmp_path, homing(1, None), homing(2, 0.5))
    async with coordinator_of(tmp_path) as http:
        with monkeypatch.context() as patch:
            patch.setattr(HomingKeeper, "accept", unwritable)
            assert (await http.post(PATH)).status_code == 503
        assert (await http.post(PATH)).status_code == 200
