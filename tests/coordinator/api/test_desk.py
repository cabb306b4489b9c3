"""Single point of control over HTTP, without sockets and without joints."""

import asyncio

import httpx2
import pytest

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Because, Command, Hold, Refused
from coordinator.playing.runs import Runs, Wanted
from coordinator.service import Service

LAPTOP = {"unisono-client": "laptop-1", "unisono-client-name": "the laptop"}
PHONE = {"unisono-client": "phone-22"}


def code_of(response: httpx2.Response) -> str:
    return str(response.json()["type"]).rpartition(":")[2]


MOTION = [
    ("/home", {}),
    ("/runs", {"name": "a.nc", "text": "G0 A1\nM2\n"}),
    ("/resume", None),
    ("/override", {"percent": 50}),
    ("/output", {"output": "gripper", "on": True}),
    ("/jog", {"velocities_deg_s": {"elbow": 1.5}}),
    ("/step", {"joint": "elbow", "by_deg": 0.1, "speed_deg_s": 5.0}),
]


@pytest.mark.parametrize(("path", "body"), MOTION)
async def test_motion_is_for_the_client_in_control_only(
    http: httpx2.AsyncClient, path: str, body: object
) -> None:
    await http.post("/control/take", headers=LAPTOP)
    first = await http.post(path, json=body, headers=LAPTOP)
    assert code_of(first) != "control"
    second = await http.post(path, json=body, headers=PHONE)
    assert (second.status_code, code_of(second)) == (409, "control")
    assert "the laptop has control" in second.json()["detail"]


REFUSED = [*MOTION, ("/runs", {"name": "a.nc", "text": "G7 A1000\n"})]


@pytest.mark.parametrize(("path", "body"), REFUSED)
async def test_a_command_that_is_refused_leaves_control_as_it_was(
    http: httpx2.AsyncClient, path: str, body: object
) -> None:
    assert (await http.post(path, json=body, headers=LAPTOP)).status_code in (409, 422)
    assert (await http.get("/control")).json()["holder"] is None
    second = await http.post(path, json=body, headers=PHONE)
    assert code_of(second) != "control"

    taken = (await http.post("/control/take", headers=LAPTOP)).json()
    assert (await http.post(path, json=body, headers=LAPTOP)).status_code in (409, 422)
    assert (await http.get("/control")).json()["holder"] == taken["you"]


async def test_a_command_that_is_carried_out_keeps_control(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(Service, "command", lambda *_args, **_named: None)
        turn = {"velocities_deg_s": {"elbow": 1.0}}
        assert (await http.post("/jog", json=turn, headers=LAPTOP)).status_code == 200
    assert code_of(await http.post("/home", json={}, headers=LAPTOP)) == "joint-offline"
    assert code_of(await http.post("/home", json={}, headers=PHONE)) == "control"


@pytest.mark.parametrize("still", [{}, {"elbow": 0.0}])
async def test_to_let_go_takes_no_control(
    http: httpx2.AsyncClient, still: dict[str, float]
) -> None:
    body = {"velocities_deg_s": still}
    assert (await http.post("/jog", json=body, headers=LAPTOP)).status_code == 200
    assert (await http.get("/control")).json()["holder"] is None
    assert code_of(await http.post("/home", json={}, headers=PHONE)) == "joint-offline"


async def test_hold_stop_and_looking_are_for_everyone(http: httpx2.AsyncClient) -> None:
    await http.post("/control/take", headers=LAPTOP)
    assert code_of(await http.post("/hold", headers=PHONE)) == "no-run"
    assert (await http.post("/stop", json={}, headers=PHONE)).status_code == 200
    assert (await http.post("/stop", json={})).status_code == 200
    assert (await http.get("/arm", headers=PHONE)).status_code == 200


async def test_two_tabs_that_press_home_and_play_at_once_are_one_too_many(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    planning, refused = asyncio.Event(), asyncio.Event()

    async def plans(*_: object) -> int:
        planning.set()
        await refused.wait()
        raise Refused(RefusalCode.JOINT_OFFLINE, "a joint is offline")

    monkeypatch.setattr(Runs, "play", plans)
    play = {"name": "a.nc", "text": "G0 A1\nM2\n"}
    # The program is planned for a while, in which it has control though it is refused then.
    playing = asyncio.create_task(http.post("/runs", json=play, headers=PHONE))
    await planning.wait()
    homing = await http.post("/home", json={}, headers=LAPTOP)
    refused.set()
    codes = code_of(homing), code_of(await playing)
    assert [code == "control" for code in codes] == [True, False]


async def test_a_client_takes_control_knows_itself_and_gives_it_back(
    http: httpx2.AsyncClient,
) -> None:
    await http.post("/control/take", headers=LAPTOP)
    shown = (await http.get("/control", headers=PHONE)).json()
    assert shown["name"] == "the laptop"
    assert shown["holder"] != shown["you"]
    taken = (await http.post("/control/take", headers=PHONE)).json()
    assert (taken["name"], taken["holder"]) == ("a page", taken["you"])
    told = (await http.get("/arm")).json()["notes"][-1]
    assert (told["level"], told["code"]) == ("attention", "control-taken")
    assert told["message"].startswith(f"a page ({taken['you']}) took control from the laptop")
    assert code_of(await http.post("/home", json={}, headers=LAPTOP)) == "control"
    assert (await http.post("/control/release", headers=LAPTOP)).json()["holder"] is not None
    assert (await http.post("/control/release", headers=PHONE)).json()["holder"] is None
    assert code_of(await http.post("/home", json={}, headers=LAPTOP)) == "joint-offline"


async def test_taking_over_is_one_line_and_the_hold_that_it_means_a_detail_of_it(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[Command, str, bool]] = []

    def command(_service: Service, what: Command, who: str, *, detail: bool = False) -> None:
        asked.append((what, who, detail))

    await http.post("/control/take", headers=LAPTOP)
    monkeypatch.setattr(Service, "command", command)
    await http.post("/control/take", headers=PHONE)
    assert asked == [(Hold(Because.TAKEN_OVER), "a page", True)]


async def test_a_play_that_is_being_planned_is_lost_when_control_is_taken(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    planning, go_on = asyncio.Event(), asyncio.Event()

    async def planned(_runs: Runs, _wanted: Wanted, has_left: object, *_who: object) -> int:
        planning.set()
        await go_on.wait()
        assert callable(has_left)
        await has_left()
        raise AssertionError("whoever lost control plays nothing")

    monkeypatch.setattr(Runs, "play", planned)
    play = {"name": "a.nc", "text": "G0 A1\nM2\n"}
    asked = asyncio.create_task(http.post("/runs", json=play, headers=LAPTOP))
    await planning.wait()
    await http.post("/control/take", headers=PHONE)
    go_on.set()
    assert code_of(await asked) == "control"


async def test_a_client_that_names_itself_wrongly_is_told_but_may_stop(
    http: httpx2.AsyncClient,
) -> None:
    for headers in ({"unisono-client": "x"}, {**PHONE, "unisono-client-name": "x" * 41}):
        answer = await http.post("/home", json={}, headers=headers)
        assert (answer.status_code, code_of(answer)) == (400, "malformed")
        assert (await http.post("/stop", json={}, headers=headers)).status_code == 200
