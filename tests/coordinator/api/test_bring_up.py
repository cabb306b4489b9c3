"""The bring-up by the API: kept over a restart behind every step, refused out of order, and its
sheet.
"""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.bringup.progress import Done
from coordinator.bringup.steps import STEPS
from coordinator.config.arm import Arm, load_arm, parse_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.links.clock import arm_now_us
from coordinator.service import Service
from coordinator.store import homings
from tests.coordinator.api.conftest import BASE
from tests.coordinator.bringup.kit import ELBOW, brought_up

ALL = brought_up()
CODES = [step.code for step in STEPS]
PATH = "/joints/elbow/bring-up"
TYPE = "urn:unisono:problem:"
TEXT = DEMO_ARM.read_text(encoding="utf-8")


@asynccontextmanager
async def coordinator_of(folder: Path, arm: Arm | None = None) -> AsyncIterator[Any]:
    """A coordinator that has begun in this folder: its service and its API."""
    service = Service(arm or load_arm(DEMO_ARM), folder, "127.0.0.1")
    transport = httpx2.ASGITransport(create_app(service))
    headers = {"Unisono-Client": "the-owners-page", "Unisono-Client-Name": "the owner"}
    async with httpx2.AsyncClient(transport=transport, base_url=BASE, headers=headers) as http:
        yield service, http
    await service.close()


async def keep(folder: Path, done: Sequence[Done]) -> None:
    async with coordinator_of(folder) as (service, _):
        for one in done:
            await service.bring_up.keep("elbow", one)


async def lines(folder: Path) -> list[dict[str, Any]]:
    """Of the journal, newest first."""
    async with coordinator_of(folder) as (service, _):
        kept = await service.journal.newest(None, 99, details=False)
    return [{"level": one["level"], "message": one["message"]} for one in kept]


@pytest.fixture(name="folder")
def folder_of(tmp_path: Path) -> Path:
    make_key(tmp_path)
    return tmp_path


async def test_broken_off_behind_every_step_it_goes_on_after_a_restart(folder: Path) -> None:
    for k, one in enumerate(ALL):
        async with coordinator_of(folder) as (service, http):
            told = (await http.get(PATH)).json()
            assert told["next"] == CODES[k]
            assert [step["state"] for step in told["steps"]].count("done") == k
            await service.bring_up.keep("elbow", one)
    async with coordinator_of(folder) as (_, http):
        told = (await http.get(PATH)).json()
        assert (told["complete"], told["next"]) == (True, None)
        assert (await http.get("/joints/wrist/bring-up")).json()["next"] == "identified"


async def test_a_step_that_is_done_is_kept_with_who_said_it_and_one_too_early_is_refused(
    folder: Path,
) -> None:
    await keep(folder, ALL[:1])
    async with coordinator_of(folder) as (_, http):
        early = await http.post(f"{PATH}/travel", json={"commanded_deg": 90.0, "measured_deg": 90})
        assert (early.status_code, early.json()["type"]) == (409, TYPE + "bring-up-earlier")
        assert "given its place comes first (placed)" in early.json()["detail"]
        no = await http.post(f"{PATH}/placed", json={"answer": "it is elsewhere"})
        assert (no.status_code, no.json()["type"]) == (409, TYPE + "bring-up-not-so")
        done = await http.post(f"{PATH}/placed", json={"answer": "it is there"})
        assert done.status_code == 200
        placed = done.json()["steps"][1]
        assert (placed["state"], placed["who"]) == ("done", "the owner")
        assert placed["figures"] == {"answer": "it is there", "place": "3 of 6", "letter": "C"}
        assert done.json()["next"] == "configured"


async def test_words_that_a_step_does_not_take_are_wrong_input(folder: Path) -> None:
    await keep(folder, ALL)
    async with coordinator_of(folder) as (_, http):
        for step, body in (
            ("placed", {"answer": "perhaps"}),
            ("placed", {"answer": "it is there", "measured_deg": 3.0}),
            ("link", {"answer": "light"}),
            ("travel", {"commanded_deg": 90.0}),
        ):
            answer = await http.post(f"{PATH}/{step}", json=body)
            assert (answer.status_code, answer.json()["type"]) == (422, TYPE + "bring-up-input")
            assert answer.json()["detail"].startswith(step)
        assert (await http.get(PATH)).json()["complete"]


async def test_a_joint_that_is_not_heard_is_not_identified(folder: Path) -> None:
    async with coordinator_of(folder) as (_, http):
        answer = await http.post(f"{PATH}/identified", json={"answer": "light"})
        assert (answer.status_code, answer.json()["type"]) == (409, TYPE + "bring-up-not-so")
        assert "elbow is not linked" in answer.json()["detail"]
        assert (await http.get(PATH)).json()["next"] == "identified"


async def test_a_swap_that_happened_while_the_coordinator_was_off_is_noticed(folder: Path) -> None:
    await keep(folder, ALL)
    new = parse_arm(TEXT.replace(ELBOW.id, "3c71bf4aff03"), DEMO_ARM)
    async with coordinator_of(folder, new) as (_, http):
        told = (await http.get(PATH)).json()
        assert (told["next"], told["other_controller"]) == ("identified", ELBOW.id)
        said = await http.post(f"{PATH}/controller-only", json={})
        assert said.status_code == 200
        left = [one["step"] for one in said.json()["steps"] if one["state"] != "done"]
        assert left == [code for code in CODES if code not in ("travel", "range")]
        again = await http.post(f"{PATH}/controller-only", json={})
        assert (again.status_code, again.json()["type"]) == (409, TYPE + "bring-up-not-so")
        other = (await http.post(f"{PATH}/other-body", json={})).json()
        assert [one["state"] for one in other["steps"]].count("done") == 0
    assert [line for line in await lines(folder) if "changed" in line["message"]] == [
        {"level": level, "message": f"elbow: {words}, said the owner"}
        for level, words in (
            ("attention", "motor, gear, housing or magnets were changed"),
            ("info", "its controller alone was changed"),
        )
    ]


async def test_a_body_that_was_changed_under_the_same_controller_is_said_and_asked_for(
    folder: Path,
) -> None:
    await keep(folder, ALL)
    async with coordinator_of(folder) as (_, http):
        for _ in range(2):  # once more another one, within the same second
            told = (await http.post(f"{PATH}/other-body", json={})).json()
            left = [one["step"] for one in told["steps"] if one["state"] != "done"]
            assert left == ["sensors", "direction", "home", "travel", "range", "repeatability"]
            bodies = [one["because"] for one in told["steps"] if one["step"] == "travel"]
        assert bodies[0][0].startswith(f"body was {ELBOW.id}, is changed ")


async def test_homings_of_before_the_body_was_changed_are_marked_with_what_was_said(
    folder: Path,
) -> None:
    await keep(folder, ALL)
    async with coordinator_of(folder) as (service, http):
        homing = {"number": 23, "state": "done", "joints": {"elbow": {"edges": []}}}
        await service.bring_up._store.confirmed(
            lambda connection: homings.save(connection, homing, "2026-05-01T09:00:00+00:00")
        )
        told = (await http.post(f"{PATH}/other-body", json={})).json()
        assert told["history"][-1]["figures"] == {"homing_before": 23}


async def test_what_somebody_sees_takes_a_step_back_whatever_is_to_be_done_before_it(
    folder: Path,
) -> None:
    await keep(folder, ALL)
    async with coordinator_of(folder) as (_, http):
        said = {"answer": "it is elsewhere"}
        refused = await http.post(f"{PATH}/placed", json=said)
        assert (refused.status_code, refused.json()["type"]) == (409, TYPE + "bring-up-not-so")
        said = {"answer": "something is in the way"}
        refused = await http.post(f"{PATH}/range", json=said)
        assert "elbow: something is in the way: " in refused.json()["detail"]
        told = (await http.get(PATH)).json()
        left = {one["step"]: one["because"] for one in told["steps"] if one["state"] != "done"}
        assert left == {
            "placed": ["the owner said: it is elsewhere"],
            "range": ["the owner said: something is in the way"],
        }
        sheet = (await http.get(f"{PATH}/sheet")).text
        assert "COUNTS NO MORE: the owner said: it is elsewhere" in sheet


async def test_a_measurement_that_is_not_so_takes_a_step_back_that_was_done(folder: Path) -> None:
    await keep(folder, ALL)
    turn = {"commanded_deg": 90.0, "measured_deg": 60.0}
    async with coordinator_of(folder) as (_, http):
        refused = await http.post(f"{PATH}/travel", json=turn)
        assert (refused.status_code, refused.json()["type"]) == (409, TYPE + "bring-up-not-so")
        sentence = refused.json()["detail"]
        assert "that is a gear_ratio of 30" in sentence
        told = (await http.get(PATH)).json()
        assert (told["complete"], told["next"]) == (False, "travel")
        assert told["steps"][6]["because"] == [sentence]
        sheet = (await http.get(f"{PATH}/sheet")).text
        assert "NOT COMPLETE: 1 of 10 steps are to be done: Travel measured." in sheet
        assert "COUNTS NO MORE: elbow was told to turn by 90° and turned by 60°" in sheet
        # Also one that must be done again for another reason.
        await http.post(f"{PATH}/placed", json={"answer": "it is elsewhere"})
        refused = await http.post(f"{PATH}/travel", json=turn | {"measured_deg": 0.0})
        assert "it did not turn" in refused.json()["detail"]
        assert (await http.get(PATH)).json()["steps"][6]["figures"]["measured_deg"] == 0.0
    words = f"elbow: travel measured is not so, the owner was told: {sentence}"
    assert {"level": "attention", "message": words} in await lines(folder)


async def test_a_measurement_of_a_step_that_was_never_done_waits_for_those_before_it(
    folder: Path,
) -> None:
    async with coordinator_of(folder) as (_, http):
        turn = {"commanded_deg": 90.0, "measured_deg": 60.0}
        early = await http.post(f"{PATH}/travel", json=turn)
        assert (early.status_code, early.json()["type"]) == (409, TYPE + "bring-up-earlier")
        assert (await http.get(PATH)).json()["history"] == []


async def test_two_ids_that_were_exchanged_in_the_arm_file_are_told_with_the_joints_names(
    folder: Path,
) -> None:
    wrist = load_arm(DEMO_ARM).joint("wrist").id
    async with coordinator_of(folder) as (service, _):
        for name, id in (("elbow", ELBOW.id), ("wrist", wrist)):
            await service.bring_up.keep(name, replace(ALL[0], basis={"controller": id}))
    text = TEXT.replace(wrist, "0" * 12).replace(ELBOW.id, wrist).replace("0" * 12, ELBOW.id)
    async with coordinator_of(folder, parse_arm(text, DEMO_ARM)) as (service, http):
        assert (await http.get(PATH)).json()["exchanged"] == "wrist"
        assert (await http.get("/joints/wrist/bring-up")).json()["exchanged"] == "elbow"
        # The answer that confirms it ends it neither here nor there.
        wrong = {"answer": "another joint answered"}
        assert (await http.post(f"{PATH}/identified", json=wrong)).status_code == 409
        assert (await http.get(PATH)).json()["exchanged"] == "wrist"
        assert (await http.get("/joints/wrist/bring-up")).json()["exchanged"] == "elbow"
        await service.bring_up.keep("elbow", replace(ALL[0], basis={"controller": wrist}))
        assert (await http.get(PATH)).json()["exchanged"] is None
        assert (await http.get("/joints/wrist/bring-up")).json()["exchanged"] == "elbow"


async def test_a_touch_is_believed_of_the_joint_that_felt_it_last(folder: Path) -> None:
    async with coordinator_of(folder) as (service, _):
        assert service.touched_within(60_000_000) is None
        service._touched = "wrist", arm_now_us()
        assert service.touched_within(60_000_000) == "wrist"
        service._touched = "wrist", arm_now_us() - 60_000_001
        assert service.touched_within(60_000_000) is None


async def test_another_gear_ratio_in_its_place_asks_for_what_depends_on_it(folder: Path) -> None:
    await keep(folder, ALL)
    begin = TEXT.index('name = "elbow"')
    other = TEXT[:begin] + TEXT[begin:].replace("gear_ratio = 20.0", "gear_ratio = 15.0", 1)
    async with coordinator_of(folder, parse_arm(other, DEMO_ARM)) as (_, http):
        told = (await http.get(PATH)).json()
        left = [one["step"] for one in told["steps"] if one["state"] != "done"]
        assert left == ["configured", "direction", "home", "travel", "range", "repeatability"]


async def test_its_sheet_is_a_page_of_its_own(folder: Path) -> None:
    await keep(folder, ALL)
    async with coordinator_of(folder) as (_, http):
        answer = await http.get(f"{PATH}/sheet")
        assert answer.headers["content-type"] == "text/html; charset=utf-8"
        assert answer.headers["content-security-policy"].endswith("sandbox")
        assert "Every step is done." in answer.text
        assert answer.text.count("<svg") == 3


async def test_unknown_joints_and_steps_are_named(folder: Path) -> None:
    async with coordinator_of(folder) as (_, http):
        for answer in (
            await http.get("/joints/knee/bring-up"),
            await http.post(f"{PATH}/painted", json={}),
        ):
            assert (answer.status_code, answer.json()["type"]) == (404, TYPE + "not-found")
        assert "it has identified, placed" in answer.json()["detail"]


async def test_a_row_that_is_damaged_lets_its_step_be_asked_again(folder: Path) -> None:
    from sqlalchemy import text

    await keep(folder, ALL)
    async with coordinator_of(folder) as (service, http):
        damage = text("update bring_up set basis = '[' where step = 'travel'")
        await service.bring_up._store.confirmed(lambda connection: connection.execute(damage))
        assert (await http.get(PATH)).json()["next"] == "travel"
