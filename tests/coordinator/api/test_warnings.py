"""Warnings over HTTP: listed with their time of day, and seen."""

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.health.alarm_kind import Finding
from coordinator.health.link import LOST
from coordinator.health.supply import GONE, LOW
from coordinator.links.clock import arm_now_us
from coordinator.service import Service
from coordinator.store import acknowledgements, shelves
from coordinator.store.utc import unix_now_s

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


NAMED = {"Unisono-Client": "0123456789", "Unisono-Client-Name": "the bench"}


async def alarms_of(client: httpx2.AsyncClient) -> dict[str, Any]:
    told: dict[str, Any] = (await client.get("/api/v1/warnings")).json()["alarms"]
    assert (await client.get("/api/v1/arm")).json()["alarms"] == told
    return told


async def test_a_warning_says_why_what_comes_of_it_and_how_soon(client: httpx2.AsyncClient) -> None:
    (one,) = (await client.get("/api/v1/warnings")).json()["warnings"]
    assert (one["priority"], one["state"], one["origin"]) == ("medium", "unacknowledged", "supply")
    assert "slip ring" in one["cause"]
    assert "stops" in one["consequence"]
    assert (one["episode"], one["first_out"]) == (1, False)
    assert await alarms_of(client) == {"returned": [], "shelved": [], "flood": None}


async def test_a_shelf_says_who_and_until_when_and_the_warning_stands_all_the_same(
    client: httpx2.AsyncClient,
) -> None:
    body = {"for_s": 600}
    shelf = await client.post("/api/v1/warnings/1/shelve", json=body, headers=NAMED)
    assert shelf.status_code == 200
    told = shelf.json()
    assert (told["joint"], told["code"], told["who"]) == ("elbow", "supply-low", "the bench")
    left = datetime.fromisoformat(told["until_utc"]) - datetime.now(UTC)
    assert timedelta(seconds=540) < left <= timedelta(seconds=601)
    (one,) = (await client.get("/api/v1/warnings")).json()["warnings"]
    assert (one["state"], one["acknowledged"]) == ("shelved", False)
    for _ in range(3):  # it does not flicker
        assert (await alarms_of(client))["shelved"] == [told]
    notes = (await client.get("/api/v1/arm")).json()["notes"]
    assert [note["code"] for note in notes] == ["warning-shelved"]
    back = await client.post("/api/v1/warnings/1/unshelve", headers=NAMED)
    assert (back.status_code, back.json()["until_utc"]) == (200, told["until_utc"])
    assert (await alarms_of(client))["shelved"] == []
    assert (await client.post("/api/v1/warnings/1/unshelve")).status_code == 404
    assert (await client.post("/api/v1/warnings/9/shelve", json={})).status_code == 404


@pytest.mark.parametrize("for_s", [0, 59, 28_801, "60", None])
async def test_a_shelf_has_an_end_within_a_shift(client: httpx2.AsyncClient, for_s: object) -> None:
    answer = await client.post("/api/v1/warnings/1/shelve", json={"for_s": for_s})
    assert answer.status_code == 422
    assert (await alarms_of(client))["shelved"] == []


async def test_what_stops_the_arm_is_never_shelved(
    client: httpx2.AsyncClient, service: Service
) -> None:
    found = [Finding(GONE, True, "elbow has no motor supply")]
    service._core.watch.warnings.observe("elbow", found, arm_now_us())
    answer = await client.post("/api/v1/warnings/2/shelve", json={})
    assert (answer.status_code, answer.json()["type"]) == (409, "urn:unisono:problem:not-shelvable")
    assert (await alarms_of(client))["shelved"] == []


async def test_what_cannot_be_recorded_is_not_shelved(
    client: httpx2.AsyncClient, service: Service
) -> None:
    await service._store.close()
    answer = await client.post("/api/v1/warnings/1/shelve", json={})
    assert (answer.status_code, answer.json()["type"]) == (503, "urn:unisono:problem:store")
    assert (await alarms_of(client))["shelved"] == []


async def restarted(service: Service, tmp_path: Path) -> Service:
    """Another coordinator on the same folder, which has heard no joint yet."""
    await service.close()
    again = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    await again._know_alarms()
    return again


def observed(service: Service, bad: bool) -> None:
    """The elbow's supply was looked at for long enough."""
    for ago_s in (30, 5):
        now = arm_now_us() - ago_s * 1_000_000
        service._core.watch.warnings.observe("elbow", [Finding(LOW, bad, "elbow has 19 V")], now)
    service._wake()


def said(service: Service) -> list[tuple[str, str]]:
    return [(note.code, note.message) for note in service.snapshot().notes]


async def test_what_is_shelved_stays_so_over_a_restart(
    client: httpx2.AsyncClient, service: Service, tmp_path: Path
) -> None:
    await client.post("/api/v1/warnings/1/shelve", json={"for_s": 600}, headers=NAMED)
    again = await restarted(service, tmp_path)
    told = again.snapshot().alarms
    assert told is not None
    ((joint, code, who, stands),) = ((x.joint, x.code, x.who, x.stands) for x in told.shelved)
    assert (joint, code, who, stands) == ("elbow", "supply-low", "the bench", False)
    assert told.returned == ()  # whoever shelved it has seen it
    await again.close()


async def test_a_shelf_whose_time_was_over_comes_back_by_no_restart_whatever_the_clock_says(
    client: httpx2.AsyncClient, service: Service, tmp_path: Path
) -> None:
    await client.post("/api/v1/warnings/1/shelve", json={"for_s": 600}, headers=NAMED)
    service._core.watch.slept(600 * 1_000_000)  # its time is over, by the clock it is not
    service._core.watch.step(arm_now_us())
    service._wake()
    assert (await alarms_of(client))["shelved"] == []
    again = await restarted(service, tmp_path)
    told = again.snapshot().alarms
    assert told is not None
    assert told.shelved == ()
    await again.close()


async def test_a_shelf_that_ends_while_no_coordinator_runs_is_told_by_the_next_one_once(
    client: httpx2.AsyncClient,
    service: Service,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    await client.post("/api/v1/warnings/1/shelve", json={"for_s": 60}, headers=NAMED)
    later_s = unix_now_s() + 61
    monkeypatch.setattr(shelves, "unix_now_s", lambda: later_s)
    again = await restarted(service, tmp_path)
    over = (
        "warning-unshelved",
        "the bench's time for supply-low of elbow was over before the coordinator began anew",
    )
    assert over in said(again)
    third = await restarted(again, tmp_path)
    assert over not in said(third)
    await third.close()


@pytest.mark.parametrize("over", [False, True])
async def test_what_nobody_has_seen_is_told_after_a_restart_until_somebody_has(
    client: httpx2.AsyncClient, service: Service, tmp_path: Path, *, over: bool
) -> None:
    service._wake()
    if over:
        observed(service, bad=False)
    for _ in range(2):  # by one restart after another
        service = await restarted(service, tmp_path)
        told = service.snapshot()
        assert told.alarms is not None
        (one,) = told.alarms.returned
        assert (one.joint, one.code, one.state) == ("elbow", "supply-low", "returned")
        assert one.message == (
            "elbow has 19.1 V (before the coordinator began anew; if it is so still, it is told "
            "again)"
        )
        ago = datetime.now(UTC) - datetime.fromisoformat(one.since_utc)
        assert timedelta(seconds=AGO_S - 2) <= ago <= timedelta(seconds=AGO_S + 60)
        assert told.warnings == ()
    assert await service.acknowledge(one.id, "the bench") is not None
    service = await restarted(service, tmp_path)
    told = service.snapshot()
    assert told.alarms is not None
    assert told.alarms.returned == ()
    await service.close()


async def test_one_that_is_so_still_after_a_restart_is_a_new_one(
    service: Service, tmp_path: Path
) -> None:
    service._wake()
    again = await restarted(service, tmp_path)
    observed(again, bad=True)
    told = again.snapshot()
    assert told.alarms is not None
    assert ([one.message for one in told.warnings], told.alarms.returned) == (
        ["elbow has 19 V"], (),
    )  # fmt: skip
    await again.close()


async def test_joints_that_were_switched_off_before_the_coordinator_are_no_alarm_the_next_day(
    service: Service, tmp_path: Path
) -> None:
    service._core.watch.warnings.acknowledge(1)
    for ago_s in (30, 5):
        now = arm_now_us() - ago_s * 1_000_000
        service._core.watch.warnings.observe("elbow", [Finding(LOST, True, "it is silent")], now)
    service._wake()
    assert [one.code for one in service.snapshot().warnings] == ["supply-low", "joint-offline"]
    again = await restarted(service, tmp_path)
    told = again.snapshot().alarms
    assert told is not None
    assert told.returned == ()
    await again.close()


async def test_one_that_is_over_unseen_is_acknowledged_and_recorded(
    client: httpx2.AsyncClient, service: Service
) -> None:
    for ago_s in (30, 5):
        now = arm_now_us() - ago_s * 1_000_000
        service._core.watch.warnings.observe("elbow", [Finding(LOW, False)], now)
    ((one,), standing) = (
        (await alarms_of(client))["returned"],
        (await client.get("/api/v1/warnings")).json()["warnings"],
    )
    assert (one["state"], standing) == ("returned", [])
    seen = await client.post("/api/v1/warnings/1/acknowledge")
    assert (seen.status_code, seen.json()["state"]) == (200, "normal")
    assert (await alarms_of(client))["returned"] == []
    assert len(await service._store.read(acknowledgements.every)) == 1
    assert (await client.post("/api/v1/warnings/1/acknowledge")).status_code == 404
