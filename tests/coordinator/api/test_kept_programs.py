"""Routes of programs that are kept, of an arm none of whose joints is there."""

import asyncio
import hashlib
from typing import Any

import httpx2
import pytest

from coordinator.core.run.report import Report
from coordinator.playing.runs import Wanted
from coordinator.programs.progress import Tell
from coordinator.service import Service
from tests.coordinator.api.test_taught import Sent, code_of, edit, taught

TEXT = "G0 A1 B2.5 (here)\nM2\n"


async def kept(http: httpx2.AsyncClient, name: str = "one tray", text: str = TEXT) -> int:
    answer = await edit(http, {"type": "keep-program", "name": name, "text": text})
    assert answer.status_code == 200, answer.text
    return int(answer.json()["programs"][-1]["id"])


async def text_of(http: httpx2.AsyncClient, number: int, **params: int) -> str:
    answer = await http.get(f"/taught/programs/{number}/text", params=params)
    assert answer.status_code == 200, answer.text
    return answer.text


async def test_program_is_kept_exactly_and_every_version_of_it_is_there(
    http: httpx2.AsyncClient,
) -> None:
    odd = "(\N{SNOWMAN} <b>)\r\nG2 X1\n"
    number = await kept(http, text=odd)
    assert await text_of(http, number) == odd
    assert (await edit(http, {"type": "keep-program", "program": number, "text": TEXT})).is_success
    assert await text_of(http, number) == TEXT
    changes = (await http.get("/taught/changes", params={"sequence": number})).json()["changes"]
    assert [one["words"] for one in changes] == [
        "wrote program 'one tray'", "kept program 'one tray'",
    ]  # fmt: skip
    assert await text_of(http, number, change=changes[1]["id"]) == odd
    revision = (await taught(http))["revision"]
    await http.post("/taught/undo", json={"revision": revision})
    assert await text_of(http, number) == odd
    gone = await http.get("/taught/programs/99/text")
    assert (gone.status_code, gone.json()["detail"]) == (404, "there is no program 99")


async def test_text_that_another_kept_meanwhile_is_not_written_over_unseen(
    http: httpx2.AsyncClient,
) -> None:
    number = await kept(http)
    seen = hashlib.sha256(TEXT.encode()).hexdigest()
    write = {"type": "keep-program", "program": number, "instead_of": seen}
    assert (await edit(http, write | {"text": "M2\n"})).is_success
    late = await edit(http, write | {"text": "G0 A3\nM2\n"})
    assert late.status_code == 422
    assert "was kept with another text since you took it" in late.json()["detail"]
    assert await text_of(http, number) == "M2\n"


async def test_a_shift_is_of_all_where_nothing_is_named_and_else_of_what_is_named(
    http: httpx2.AsyncClient,
) -> None:
    number, other = await kept(http), await kept(http, "other")
    shift: Sent = {"type": "shift", "offsets_deg": {"turntable": 0.5}, "why": "magnet"}
    shown = (await http.post("/taught/shift", json={"shift": shift})).json()["programs"]
    assert [one["program"]["id"] for one in shown] == [number, other]
    assert shown[0]["lines"] == [
        {"line": 1, "before": "G0 A1 B2.5 (here)", "after": "G0 A1.5 B2.5 (here)"}
    ]
    assert (await edit(http, shift | {"waypoints": []})).is_success
    assert await text_of(http, number) == TEXT
    assert (await edit(http, shift | {"programs": [number]})).is_success
    assert await text_of(http, number) == "G0 A1.5 B2.5 (here)\nM2\n"
    assert await text_of(http, other) == TEXT
    assert (await edit(http, shift)).is_success
    assert await text_of(http, number) == "G0 A2 B2.5 (here)\nM2\n"
    assert (await taught(http))["undo"] == "shifted 2 programs, turntable by +0.5°: magnet"


async def test_one_program_that_cannot_be_shifted_keeps_all_as_they_are(
    http: httpx2.AsyncClient,
) -> None:
    number = await kept(http)
    await kept(http, "draft", "G2 X1\n")
    shift: Sent = {"type": "shift", "offsets_deg": {"turntable": 0.5}, "why": "magnet"}
    refused = await edit(http, shift)
    assert refused.status_code == 422
    assert "program 'draft' has mistakes, the first on line 1" in refused.json()["detail"]
    assert await text_of(http, number) == TEXT


async def test_what_is_played_as_kept_is_exactly_that_which_is_kept(
    http: httpx2.AsyncClient,
) -> None:
    number = await kept(http)
    body = {"name": "one tray", "text": TEXT, "taught": number}
    other = await http.post("/runs", json=body | {"text": "M2\n"})
    assert (other.status_code, code_of(other)) == (409, "taught-changed")
    unknown = await http.post("/runs", json=body | {"taught": 99})
    assert "there is no sequence and no program 99" in unknown.json()["detail"]
    right = await http.post("/runs", json=body)
    assert code_of(right) == "joint-offline"
    assert (await http.get("/taught/results")).json() == {"runs": []}


async def test_newest_run_of_a_program_is_told_and_whether_its_text_is_another_now(
    http: httpx2.AsyncClient, service: Service
) -> None:
    number = await kept(http)
    for run in (1, 2):
        report = Report(run, "one tray", ("turntable",), 5)
        await service.runs._keeper.begin(report, TEXT, number)
    (told,) = (await http.get("/taught/results")).json()["runs"]
    assert (told["taught"], told["run"], told["outcome"]) == (number, 2, "playing")
    assert told["same_text"] is True
    await edit(http, {"type": "keep-program", "program": number, "text": "M2\n"})
    (told,) = (await http.get("/taught/results")).json()["runs"]
    assert told["same_text"] is False


async def test_a_stop_while_it_is_looked_whether_it_is_kept_keeps_it_from_beginning(
    http: httpx2.AsyncClient, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = await kept(http)
    seen: list[tuple[int, int]] = []

    async def play(_wanted: Wanted, _left: object, _who: str, halts: int, _tell: Tell) -> int:
        seen.append((halts, service.runs.halts))
        return 1

    monkeypatch.setattr(service.runs, "play", play)
    body: dict[str, Any] = {"name": "one tray", "text": TEXT, "taught": number}
    lock = service.taught._lock
    await lock.acquire()
    asked = asyncio.create_task(http.post("/runs", json=body))
    while not lock._waiters:
        await asyncio.sleep(0)
    service.runs.halt()
    lock.release()
    assert (await asked).status_code == 202
    assert seen == [(0, 1)]


async def test_curves_are_told_and_mistakes_as_those_of_a_check(http: httpx2.AsyncClient) -> None:
    told = (await http.post("/check/curves", json={"text": TEXT})).json()
    assert told["begins"] == "park"
    assert len(told["time_s"]) == len(told["low_deg"]["turntable"])
    assert len(told["time_s"]) == len(told["high_deg_s2"]["turntable"])
    assert max(told["high_deg_s"]["turntable"]) <= told["velocity_deg_s"]["turntable"]
    wrong = await http.post("/check/curves", json={"text": "G2 X1\n"})
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["line"] == 1
