"""Routes of the queue, of an arm none of whose joints is there."""

from dataclasses import asdict
from typing import Any

import httpx2
import pytest
from starlette.requests import Request

from coordinator.playing.runs import Runs, Wanted
from coordinator.programs import Problem, ProgramError
from coordinator.programs.options import AS_WRITTEN
from coordinator.service import Service
from tests.coordinator.api.test_kept_programs import kept
from tests.coordinator.api.test_taught import code_of

HOW = {"loops": 3, "optional_stop": True, "from_line": 2}
WHO = {"Unisono-Client": "the-one-client", "Unisono-Client-Name": "a page"}
OTHER = {"Unisono-Client": "another-client", "Unisono-Client-Name": "another page"}


async def edited(http: httpx2.AsyncClient, revision: int, **edit: Any) -> httpx2.Response:
    return await http.post("/queue/edits", json={"revision": revision, "edit": edit}, headers=WHO)


async def test_queue_is_edited_by_whoever_has_control_and_has_seen_it(
    http: httpx2.AsyncClient, service: Service
) -> None:
    first, second = await kept(http, "one tray"), await kept(http, "two trays")
    await http.post("/control/release")
    assert (await edited(http, 0, type="add", taught=first)).status_code == 200
    told = (await edited(http, 1, type="add", taught=second, options=HOW)).json()
    assert [(one["name"], one["options"], one["state"]) for one in told["entries"]] == [
        ("one tray", asdict(AS_WRITTEN), "waits"),
        ("two trays", {**asdict(AS_WRITTEN), **HOW}, "waits"),
    ]  # fmt: skip
    assert code_of(await edited(http, 1, type="remove", entry=1)) == "queue-changed"
    assert code_of(await edited(http, 2, type="remove", entry=9)) == "queue-entry-unknown"
    assert code_of(await edited(http, 2, type="add", taught=99)) == "taught"
    for wrong in ({"type": "add", "taught": first, "options": {"loops": 0}},
                  {"type": "clear", "entry": 1},
                  {"type": "add", "taught": first, "options": {"loops": 2, "for_s": 9.0}},
                  {"type": "add", "taught": first, "options": {"optional_stop": 1}},
                  {"type": "add", "taught": first, "options": {"slowly": True}},
                  {"type": "set-options", "entry": 1, "options": {"check_edges": True}},
                  {"type": "move", "entry": 1, "to": -1}):  # fmt: skip
        assert code_of(await edited(http, 2, **wrong)) == "invalid"
    body = {"revision": 2, "edit": {"type": "remove", "entry": 1}}
    assert code_of(await http.post("/queue/edits", json=body, headers=OTHER)) == "control"
    moved = (await edited(http, 2, type="move", entry=2, to=0)).json()
    assert [one["id"] for one in moved["entries"]] == [2, 1]
    assert (await http.get("/queue")).json() == moved
    plain = (await edited(http, 3, type="set-options", entry=2, options={})).json()
    assert plain["entries"][0]["options"] == asdict(AS_WRITTEN)
    assert service.queue.queue.revision == 4
    assert (await edited(http, 4, type="clear")).json()["entries"] == []


async def test_an_entry_begins_from_no_line_that_its_program_does_not_have(
    http: httpx2.AsyncClient, service: Service
) -> None:
    first = await kept(http, "one tray")
    await http.post("/control/release")
    beyond = {"from_line": 400}
    for revision, edit in (
        (0, {"type": "add", "taught": first, "options": beyond}),
        (0, {"type": "add", "taught": first}),
        (1, {"type": "set-options", "entry": 1, "options": beyond}),
    ):
        answer = await edited(http, revision, **edit)
        if "options" not in edit:
            assert answer.status_code == 200
            continue
        assert code_of(answer) == "program"
        assert answer.json()["detail"] == "one tray has 1 mistake"
        (mistake,) = answer.json()["errors"]
        assert "the line to begin from is 400, but the program has" in mistake["message"]
    (entry,) = service.queue.queue.entries
    assert entry.options == AS_WRITTEN


async def test_a_mistake_in_the_first_entry_names_it_and_its_program(
    http: httpx2.AsyncClient, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = await kept(http, "one tray")
    await http.post("/control/release")
    await edited(http, 0, type="add", taught=number)

    async def wrong(*_asked: object) -> int:
        raise ProgramError([Problem(1, 4, "no")])

    monkeypatch.setattr(Runs, "play", wrong)
    answer = await http.post("/queue/play", json={"revision": 1}, headers=WHO)
    assert code_of(answer) == "program"
    assert answer.json()["detail"] == "one tray, entry 1 of the queue, has 1 mistake"
    assert answer.json()["errors"] == [{"line": 1, "column": 4, "message": "no"}]


async def test_a_queue_whose_first_run_is_refused_has_not_begun(
    http: httpx2.AsyncClient, service: Service
) -> None:
    assert code_of(await http.post("/queue/play", json={"revision": 0})) == "queue-empty"
    number = await kept(http)
    await http.post("/control/release")
    await edited(http, 0, type="add", taught=number)
    refused = await http.post("/queue/play", json={"revision": 1}, headers=WHO)
    assert code_of(refused) == "joint-offline"
    told = (await http.get("/queue")).json()
    assert (told["playing"], told["entries"][0]["state"], told["message"]) == (False, "waits", "")
    assert not service.busy
    seen_less = await http.post("/queue/play", json={"revision": 0}, headers=WHO)
    assert code_of(seen_less) == "queue-changed"
    assert [note.code for note in service.snapshot().notes] == []


@pytest.mark.parametrize("leaves", [True, False])
async def test_who_has_left_before_the_first_entry_began_plays_no_queue(
    http: httpx2.AsyncClient, service: Service, monkeypatch: pytest.MonkeyPatch, leaves: bool
) -> None:
    number = await kept(http)
    await http.post("/control/release")
    await edited(http, 0, type="add", taught=number)
    asked: list[bool] = []

    async def is_disconnected(_request: Request) -> bool:
        return leaves

    async def planned(_runs: Runs, _wanted: Wanted, has_left: Any, *_who: object) -> int:
        asked.append(await has_left())
        await http.post("/control/take", headers=OTHER)
        await has_left()
        raise AssertionError("whoever lost control plays nothing")

    monkeypatch.setattr(Request, "is_disconnected", is_disconnected)
    monkeypatch.setattr(Runs, "play", planned)
    answer = await http.post("/queue/play", json={"revision": 1}, headers=WHO)
    assert code_of(answer) == "control"
    assert asked == [leaves]
    assert not (await http.get("/queue")).json()["playing"]
