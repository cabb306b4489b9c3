"""Work that takes long: how far it is, and its end with whoever asked."""

import asyncio
import json
import os
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.api.long_work import LINES
from coordinator.config.settings import API_PREFIX
from coordinator.playing.runs import Runs
from coordinator.programs.progress import Progress, Stage
from coordinator.service import Service
from tests.coordinator.api.serving import serving
from tests.e2e.harness import children, is_running

ASKED = {"Accept": LINES}
LONG = "".join(f"G0 A{k % 90}\n" for k in range(6_000)) + "M2\n"


def told(response: httpx2.Response) -> list[dict[str, Any]]:
    assert response.status_code == 200
    assert response.headers["content-type"].startswith(LINES)
    return [json.loads(line) for line in response.text.splitlines()]


async def test_who_accepts_lines_is_told_progress_and_then_the_same_answer(
    http: httpx2.AsyncClient,
) -> None:
    body = {"text": LONG}
    *progress, last = told(await http.post("/check", json=body, headers=ASKED))
    assert last == {"answer": (await http.post("/check", json=body)).json()}
    assert progress
    stages = [one["progress"]["stage"] for one in progress]
    assert stages == sorted(stages, key=list(Stage).index)


async def test_what_is_refused_later_is_the_last_line_as_a_problem(
    http: httpx2.AsyncClient, service: Service
) -> None:
    wrong = {"text": "G0 A1\nG7\nM2\n"}
    for path, body in (("/check/curves", wrong), ("/runs", {"name": "a.nc", **wrong})):
        (last,) = told(await http.post(path, json=body, headers=ASKED))
        usual = await http.post(path, json=body)
        assert last == {"problem": usual.json()}
        assert last["problem"]["status"] == usual.status_code
    both = await http.post("/check", json={}, headers=ASKED)
    assert both.status_code == 422, "what is wrong before anything begins is an answer as ever"


async def test_a_mistake_of_the_coordinator_is_told_as_one(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def broken(*_asked: object) -> bytes:
        raise ZeroDivisionError

    monkeypatch.setattr(Runs, "check", broken)
    (last,) = told(await http.post("/check", json={"text": "M2\n"}, headers=ASKED))
    assert last["problem"]["type"].endswith(":internal")


@pytest.fixture(name="url")
async def served(service: Service) -> AsyncIterator[str]:
    async with serving(create_app(service)) as server:
        yield f"http://127.0.0.1:{server.port}{API_PREFIX}"


def planners(before: set[int]) -> set[int]:
    return {
        pid
        for pid in set(children(os.getpid())) - before
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    }


@pytest.mark.parametrize("in_lines", [True, False])
async def test_who_leaves_ends_the_check_at_once_and_the_next_is_answered(
    url: str, service: Service, monkeypatch: pytest.MonkeyPatch, in_lines: bool
) -> None:
    before = set(children(os.getpid()))
    seen: list[Progress] = []
    check = Runs.check

    async def noted(runs: Runs, text: str, switches: Any, tell: Any) -> bytes:
        def both(progress: Progress) -> None:
            seen.append(progress)
            tell(progress)

        return await check(runs, text, switches, both)

    monkeypatch.setattr(Runs, "check", noted)
    async with httpx2.AsyncClient(base_url=url, timeout=60, trust_env=False) as http:
        headers = ASKED if in_lines else {}
        asked = asyncio.create_task(http.post("/check", json={"text": LONG}, headers=headers))
        async with asyncio.timeout(60):
            while not seen:
                await asyncio.sleep(0.01)
            working = planners(before)
            assert working
            asked.cancel()
            await asyncio.gather(asked, return_exceptions=True)
            while any(is_running(pid) for pid in working):
                await asyncio.sleep(0.01)
            answer = await http.post("/check", json={"text": "M2\n"})
        assert answer.json()["ok"]


async def test_a_play_whose_asker_leaves_while_it_is_planned_begins_nothing(
    http: httpx2.AsyncClient, url: str, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    planning, ended = asyncio.Event(), asyncio.Event()

    async def play(*_asked: object) -> int:
        planning.set()
        try:
            await asyncio.Event().wait()
        finally:
            ended.set()
        raise AssertionError("it waits for ever")

    monkeypatch.setattr(Runs, "play", play)
    async with httpx2.AsyncClient(base_url=url, timeout=60, trust_env=False) as other:
        body = {"name": "a.nc", "text": "G0 A1\nM2\n"}
        asked = asyncio.create_task(other.post("/runs", json=body, headers=ASKED))
        async with asyncio.timeout(60):
            await planning.wait()
            asked.cancel()
            await ended.wait()
    assert (await http.get("/runs")).json()["runs"] == []
