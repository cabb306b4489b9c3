"""Routes of what was taught, of an arm none of whose joints is there."""

from typing import Any

import httpx2
import pytest

Sent = dict[str, Any]


async def taught(http: httpx2.AsyncClient) -> Sent:
    answer = await http.get("/taught")
    assert answer.status_code == 200
    found: Sent = answer.json()
    return found


async def edit(http: httpx2.AsyncClient, edit: Sent) -> httpx2.Response:
    """Ask for an edit of what is there now."""
    revision = (await taught(http))["revision"]
    return await http.post("/taught/edits", json={"revision": revision, "edit": edit})


async def sequence_of_two(http: httpx2.AsyncClient) -> None:
    """A sequence number 1 that visits `above` and `tray`, by its program."""
    assert (await edit(http, {"type": "add-sequence", "name": "pick"})).status_code == 200
    text = "G0 A1 B2 C3 D4 E5 U6 (above)\nG0 B9 (tray)\nG4 P0.5\nM2\n"
    revision = (await taught(http))["revision"]
    body = {"revision": revision, "text": text}
    answer = await http.put("/taught/sequences/1/program", json=body)
    assert answer.status_code == 200, answer.text


def code_of(answer: httpx2.Response) -> str:
    code: str = answer.json()["type"].rpartition(":")[2]
    return code


async def test_program_makes_a_sequence_that_is_told_whole_and_gives_the_program_again(
    http: httpx2.AsyncClient,
) -> None:
    await sequence_of_two(http)
    found = await taught(http)
    assert [one["name"] for one in found["waypoints"]] == ["above", "tray"]
    (sequence,) = found["sequences"]
    assert sequence["name"] == "pick"
    assert [visit["dwell_s"] for visit in sequence["visits"]] == [0, 0.5]
    answer = await http.get("/taught/sequences/1/program")
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert "G0 A1 B9 C3 D4 E5 U6 (tray)\nG4 P0.5\nM2\n" in answer.text
    assert found["undo"] == "wrote the program of 'pick'"


async def test_undo_and_redo_go_by_the_revision_that_was_seen(http: httpx2.AsyncClient) -> None:
    await sequence_of_two(http)
    before = await taught(http)
    stale = await http.post("/taught/undo", json={"revision": before["revision"] - 1})
    assert (stale.status_code, code_of(stale)) == (409, "taught-changed")
    undone = await http.post("/taught/undo", json={"revision": before["revision"]})
    assert undone.json()["waypoints"] == []
    redone = await http.post("/taught/redo", json={"revision": undone.json()["revision"]})
    assert redone.json()["waypoints"] == before["waypoints"]


async def test_versions_of_a_sequence_are_listed_and_shown_as_programs(
    http: httpx2.AsyncClient,
) -> None:
    await sequence_of_two(http)
    await edit(http, {"type": "remove", "sequence": 1, "at": 0})
    changes = (await http.get("/taught/changes", params={"sequence": 1})).json()["changes"]
    assert [one["words"] for one in changes] == [
        "deleted 'above' at place 1 of 'pick'", "wrote the program of 'pick'",
        "added sequence 'pick'",
    ]  # fmt: skip
    written = changes[1]["id"]
    then = await http.get("/taught/sequences/1/program", params={"change": written})
    assert "(above)" in then.text
    assert "(above)" not in (await http.get("/taught/sequences/1/program")).text
    none = await http.get("/taught/sequences/1/program", params={"change": 99})
    assert (none.status_code, none.json()["detail"]) == (404, "there was no change 99")


async def test_program_that_no_sequence_can_be_has_its_mistakes_told_and_changes_nothing(
    http: httpx2.AsyncClient,
) -> None:
    await sequence_of_two(http)
    before = await taught(http)
    text = "G0 A1 B2 C3 D4 E5 U6\nM0\nG1 A2 F60\nM2\n"
    checked = await http.post("/taught/check", json={"text": text})
    assert [one["line"] for one in checked.json()["errors"]] == [2, 3]
    body = {"revision": before["revision"], "text": text}
    answer = await http.put("/taught/sequences/1/program", json=body)
    assert (answer.status_code, code_of(answer)) == (422, "program")
    assert answer.json()["errors"] == checked.json()["errors"]
    assert await taught(http) == before


async def test_sequence_that_is_not_there_is_not_found_by_its_path(
    http: httpx2.AsyncClient,
) -> None:
    for answer in (
        await http.get("/taught/sequences/7/program"),
        await http.put("/taught/sequences/7/program", json={"revision": 0, "text": "M2"}),
    ):
        assert (answer.status_code, code_of(answer)) == (404, "not-found")
        assert answer.json()["detail"] == "there is no sequence 7"


async def test_record_without_an_arm_that_is_heard_is_refused_in_a_sentence(
    http: httpx2.AsyncClient,
) -> None:
    await sequence_of_two(http)
    before = await taught(http)
    answer = await edit(http, {"type": "record", "sequence": 1})
    assert (answer.status_code, code_of(answer)) == (409, "joint-offline")
    assert "turntable" in answer.json()["detail"]
    assert await taught(http) == before


async def test_shift_is_shown_first_then_made_and_told_in_the_journal(
    http: httpx2.AsyncClient,
) -> None:
    await sequence_of_two(http)
    shift = {"type": "shift", "offsets_deg": {"shoulder": 0.5}, "why": "the magnet was glued anew"}
    preview = (await http.post("/taught/shift", json={"shift": shift})).json()["waypoints"]
    assert [one["after"]["angles_deg"]["shoulder"] for one in preview] == [2.5, 9.5]
    assert (await taught(http))["waypoints"][0]["angles_deg"]["shoulder"] == 2
    assert (await edit(http, shift)).status_code == 200
    assert (await taught(http))["waypoints"][0]["angles_deg"]["shoulder"] == 2.5


@pytest.mark.parametrize(
    ("asked", "status", "code"),
    [
        ({"type": "add-sequence", "name": "pick"}, 422, "taught"),
        ({"type": "add-sequence", "name": ""}, 422, "taught"),
        ({"type": "add-sequence", "name": "x", "colour": 1}, 422, "invalid"),
        ({"type": "paint"}, 422, "invalid"),
        ({"type": "remove", "sequence": 1, "at": 7}, 422, "taught"),
        ({"type": "remove", "sequence": 9, "at": 0}, 422, "taught"),
        ({"type": "remove", "sequence": "1", "at": 0}, 422, "invalid"),
        ({"type": "set-visit", "sequence": 1, "at": 0, "speed_percent": 0}, 422, "taught"),
        ({"type": "set-visit", "sequence": 1, "at": 0, "outputs": ["M8"]}, 422, "taught"),
        ({"type": "shift", "offsets_deg": {"knee": 1}, "why": "x"}, 422, "taught"),
        ({"type": "shift", "offsets_deg": {"elbow": 359}, "why": "x"}, 422, "taught"),
    ],
)
async def test_what_cannot_be_asked_is_a_problem_and_changes_nothing(
    http: httpx2.AsyncClient, asked: Sent, status: int, code: str
) -> None:
    await sequence_of_two(http)
    before = await taught(http)
    answer = await edit(http, asked)
    assert (answer.status_code, code_of(answer)) == (status, code), answer.text
    assert await taught(http) == before


async def test_whoever_edits_needs_control_and_others_see_it(http: httpx2.AsyncClient) -> None:
    await sequence_of_two(http)
    other = {"Unisono-Client": "b" * 24, "Unisono-Client-Name": "a page on a touch screen"}
    mine = {"Unisono-Client": "a" * 24, "Unisono-Client-Name": "a page on a computer"}
    assert (await http.post("/control/take", headers=mine)).status_code == 200
    revision = (await taught(http))["revision"]
    for path, body in (
        ("/taught/undo", {}),
        ("/taught/redo", {}),
        ("/taught/edits", {"edit": {"type": "remove", "sequence": 1, "at": 0}}),
    ):
        answer = await http.post(path, json={"revision": revision, **body}, headers=other)
        assert (answer.status_code, code_of(answer)) == (409, "control")
    assert (await http.get("/taught", headers=other)).json()["revision"] == revision
