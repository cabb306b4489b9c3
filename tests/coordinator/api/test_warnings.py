"""Warnings over HTTP: listed with their time of day, and seen."""

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.health.supply import LOW
from coordinator.health.warnings import Finding
from coordinator.links.clock import arm_now_us
from coordinator.service import Service
from coordinator.store import acknowledgements

AGO_S = 90


@pytest.fixture(name="service")
async def service_with_a_warning(tmp_path: Path) -> AsyncIterator[Service]:
    """Never opened: no socket, no joint. What stands since a minute and a half is told to it."""
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    for since_s in (AGO_S + 3, AGO_S):
        found = [Finding(LOW, True, "elbow has 19.1 V")]
        service._core.watch.warnings.observe("elbow", found, arm_now_us() - since_s * 1_000_000)
    yield service
    await service.close()


@pytest.fixture(name="client")
async def client_of(service: Service) -> AsyncIterator[httpx2.AsyncClient]:
    transport = httpx2.ASGITransport(create_app(service), raise_app_exceptions=False)
    async with httpx2.AsyncClient(transport=transport, base_url="http://127.0.0.1:8750") as client:
        yield client


async def test_what_stands_has_the_time_of_day_at_which_it_began(
    client: httpx2.AsyncClient,
) -> None:
    (one,) = (await client.get("/api/v1/warnings")).json()["warnings"]
    assert (one["id"], one["joint"], one["code"]) == (1, "elbow", "supply-low")
    assert (one["level"], one["message"]) == ("attention", "elbow has 19.1 V")
    assert one["acknowledged"] is False
    ago = datetime.now(UTC) - datetime.fromisoformat(one["since_utc"])
    assert timedelta(seconds=AGO_S - 1) <= ago <= timedelta(seconds=AGO_S + 60)
    for _ in range(3):  # it does not flicker, and the arm's state has the same
        assert (await client.get("/api/v1/arm")).json()["warnings"] == [one]


async def test_a_warning_that_was_seen_stays_and_is_marked(client: httpx2.AsyncClient) -> None:
    seen = await client.post("/api/v1/warnings/1/acknowledge")
    assert (seen.status_code, seen.json()["acknowledged"]) == (200, True)
    assert (await client.get("/api/v1/warnings")).json()["warnings"] == [seen.json()]
    notes = (await client.get("/api/v1/arm")).json()["notes"]
    assert [note["code"] for note in notes] == ["warning-acknowledged"]


async def test_who_has_seen_a_warning_is_recorded_once(
    client: httpx2.AsyncClient, service: Service
) -> None:
    headers = {"Unisono-Client": "0123456789", "Unisono-Client-Name": "the bench"}
    for _ in range(2):
        await client.post("/api/v1/warnings/1/acknowledge", headers=headers)
    (one,) = await service._store.read(acknowledgements.every)
    assert one["who"] == "the bench"
    assert one["warning"].startswith("supply-low since 20")
    assert one["warning"].endswith(": elbow has 19.1 V")


async def test_a_warning_counts_as_seen_only_once_that_is_recorded(
    client: httpx2.AsyncClient, service: Service
) -> None:
    await service._store.close()
    answer = await client.post("/api/v1/warnings/1/acknowledge")
    assert (answer.status_code, answer.json()["type"]) == (503, "urn:unisono:problem:store")
    assert [one.acknowledged for one in service._core.watch.warnings.standing] == [False]


async def test_a_warning_that_does_not_stand_is_not_found(client: httpx2.AsyncClient) -> None:
    answer = await client.post("/api/v1/warnings/2/acknowledge")
    assert answer.status_code == 404
    assert answer.json()["detail"] == ("no warning 2 stands: it has ended, or there never was one")
