"""Rehearsals over HTTP."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import httpx2
import pytest
from fastapi import FastAPI

from coordinator.api.problems import add_handlers
from coordinator.api.rehearsals import rehearsals
from coordinator.config.arm import parse_arm
from coordinator.config.data_folder import make_key
from coordinator.service import Service
from coordinator.store import Store, StoreError
from coordinator.workers.rehearsals import Rehearsals
from tests.quick_arm import arm_text

BODY = {"name": "tray.nc", "text": "G0 A-150\nM2\n", "network": "quiet", "repetitions": 1}


@pytest.fixture(name="client")
async def client_of_rehearsals(tmp_path: Path) -> AsyncIterator[httpx2.AsyncClient]:
    make_key(tmp_path)
    arm = parse_arm(arm_text(2), Path("quick.toml"))
    app, kept, service = FastAPI(), Rehearsals(arm), Service(arm, tmp_path, "127.0.0.1")
    add_handlers(app)
    app.include_router(rehearsals(kept, service), prefix="/api/v1")
    transport = httpx2.ASGITransport(app, raise_app_exceptions=False)
    async with httpx2.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        yield client
    await kept.close()
    await service.close()


async def test_a_rehearsal_is_begun_followed_and_drawn(client: httpx2.AsyncClient) -> None:
    begun = await client.post("/api/v1/rehearsals", json=BODY)
    assert begun.status_code == 202
    served_at = begun.headers["location"]
    state = (await client.get(served_at)).json()
    while state["state"] == "running":
        await asyncio.sleep(0.05)
        state = (await client.get(served_at)).json()
    assert (state["state"], state["summary"]["rehearsals"]) == ("done", 1)
    picture = await client.get(f"{served_at}/plot")
    assert picture.headers["content-type"].startswith("image/svg+xml")


async def test_a_rehearsal_has_the_operators_switches(client: httpx2.AsyncClient) -> None:
    for is_on, ends in ((True, "done"), (False, "failed")):
        body = {**BODY, "text": f"/G2\n{BODY['text']}", "block_delete": is_on}
        begun = await client.post("/api/v1/rehearsals", json=body)
        state = {"state": "running"}
        while state["state"] == "running":
            await asyncio.sleep(0.05)
            state = (await client.get(begun.headers["location"])).json()
        assert state["state"] == ends


async def test_what_was_chosen_last_is_remembered_also_where_the_disk_fails(
    client: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def chosen() -> object:
        return (await client.get("/api/v1/rehearsals")).json()

    assert await chosen() == {"network": "home", "repetitions": 20}
    begun = await client.post("/api/v1/rehearsals", json={**BODY, "repetitions": 3})
    await client.delete(begun.headers["location"])
    assert await chosen() == {"network": "quiet", "repetitions": 3}

    # A rehearsal needs no disk, and what was chosen is known all the same.
    failed: asyncio.Future[None] = asyncio.get_running_loop().create_future()
    failed.set_exception(StoreError("its disk fails"))
    monkeypatch.setattr(Store, "write", lambda _store, _work: failed)
    begun = await client.post("/api/v1/rehearsals", json={**BODY, "repetitions": 4})
    assert begun.status_code == 202
    await client.delete(begun.headers["location"])
    assert await chosen() == {"network": "quiet", "repetitions": 4}
    assert "a choice is not kept: its disk fails" in caplog.text


async def test_a_second_one_is_refused_until_the_first_is_cancelled(
    client: httpx2.AsyncClient,
) -> None:
    served_at = (
        await client.post("/api/v1/rehearsals", json={**BODY, "repetitions": 500})
    ).headers["location"]
    refused = await client.post("/api/v1/rehearsals", json=BODY)
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:unisono:problem:rehearsing")
    assert (await client.delete(served_at)).json()["state"] == "cancelled"
    assert (await client.post("/api/v1/rehearsals", json=BODY)).status_code == 202


@pytest.mark.parametrize(
    "wrong",
    [{"repetitions": 0}, {"repetitions": 501}, {"network": "none"}, {"name": ""}, {"more": 1}],
)
async def test_a_malformed_wish_is_refused(
    client: httpx2.AsyncClient, wrong: dict[str, object]
) -> None:
    answer = await client.post("/api/v1/rehearsals", json={**BODY, **wrong})
    assert (answer.status_code, answer.json()["type"]) == (422, "urn:unisono:problem:invalid")


async def test_one_that_never_was_is_not_found(client: httpx2.AsyncClient) -> None:
    for path in ("7", "7/plot"):
        answer = await client.get(f"/api/v1/rehearsals/{path}")
        assert (answer.status_code, answer.json()["type"]) == (404, "urn:unisono:problem:not-found")
    assert (await client.delete("/api/v1/rehearsals/7")).status_code == 404
