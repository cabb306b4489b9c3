"""The HTTP API without sockets: an arm none of whose joints is there refuses, and says why."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.api.bodies import MAX_BODY_BYTES
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.service import Service

README = Path(__file__).parents[3] / "README.md"
BASE = "http://127.0.0.1:8750"
URN = "urn:unisono:problem:"
PROBLEM = "application/problem+json"


@pytest.fixture(name="service")
async def service_without_joints(tmp_path: Path) -> AsyncIterator[Service]:
    """Never opened: no socket, no joint."""
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    yield service
    await service.close()


@pytest.fixture(name="client")
async def client_of(service: Service) -> AsyncIterator[httpx2.AsyncClient]:
    transport = httpx2.ASGITransport(create_app(service), raise_app_exceptions=False)
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as client:
        yield client


def problem(response: httpx2.Response, status: int, code: str) -> dict[str, Any]:
    """The problem details in a response, which must be of this status and type (RFC 9457)."""
    assert response.headers["content-type"] == PROBLEM
    body: dict[str, Any] = response.json()
    assert (response.status_code, body["status"], body["type"]) == (status, status, URN + code)
    assert body["title"]
    assert body["detail"]
    return body


async def test_arm_shows_every_joint_base_to_tool_with_what_is_unknown_as_null(
    client: httpx2.AsyncClient,
) -> None:
    arm = (await client.get("/api/v1/arm")).json()
    assert [joint["name"] for joint in arm["joints"]] == [
        "turntable", "shoulder", "elbow", "forearm", "wrist", "tool",
    ]  # fmt: skip
    assert arm["phase"] == "idle"
    assert arm["joints"][0]["link"] == "offline"
    assert arm["joints"][0]["position_deg"] is None


async def test_the_arm_file_is_told_as_it_was_when_the_coordinator_began(
    tmp_path: Path,
) -> None:
    file = tmp_path / "arm.toml"
    # Line ends of either kind and letters beyond ASCII stay as they are.
    text = DEMO_ARM.read_text(encoding="utf-8").replace("name = ", "# größer\r\nname = ", 1)
    file.write_bytes(text.encode("utf-8"))
    make_key(tmp_path)
    service = Service(load_arm(file), tmp_path, "127.0.0.1")
    file.write_text("changed since")
    transport = httpx2.ASGITransport(create_app(service))
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as client:
        answer = await client.get("/api/v1/arm/file")
    await service.close()
    assert answer.content == text.encode("utf-8")
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert answer.headers["x-content-type-options"] == "nosniff"


async def test_health_is_told_and_so_is_a_broken_core(
    client: httpx2.AsyncClient, service: Service
) -> None:
    assert (await client.get("/api/v1/healthz")).json() == {"status": "ok"}
    service.failed.set()
    problem(await client.get("/api/v1/healthz"), 503, "failed")
    problem(await client.post("/api/v1/hold"), 409, "failed")


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        ("/home", {"joints": []}, "joint-offline"),
        ("/home", {}, "joint-offline"),
        ("/hold", None, "no-run"),
        ("/resume", None, "no-run"),
        ("/override", {"percent": 50}, "no-run"),
        ("/jog", {"velocities_deg_s": {"elbow": 1.5}}, "joint-offline"),
        ("/step", {"joint": "elbow", "by_deg": 0.1, "speed_deg_s": 5.0}, "joint-offline"),
        ("/blink", {"joint": "elbow"}, "joint-offline"),
        ("/runs", {"name": "a.nc", "text": "G0 A1\nM2\n"}, "joint-offline"),
        ("/runs", {"name": "a.nc", "text": "G0 A1\nM2\n", "for_s": 60.0}, "joint-offline"),
        ("/runs", {"name": "a.nc", "text": "M2", "loops": 2, "check_edges": True}, "edges"),
    ],
)
async def test_what_the_arm_refuses_is_a_conflict_with_the_cores_code(
    client: httpx2.AsyncClient, path: str, body: Any, code: str
) -> None:
    problem(await client.post(f"/api/v1{path}", json=body), 409, code)


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        ("/home", {"joints": ["knee"]}, "joint-unknown"),
        ("/blink", {"joint": "knee"}, "joint-unknown"),
        ("/output", {"output": "pump", "on": True}, "output-unknown"),
        ("/output", {"output": "pump", "on": 1}, "invalid"),
        ("/home", {"joints": "elbow"}, "invalid"),
        ("/home", {"joint": ["elbow"]}, "invalid"),
        ("/home", {"joints": ["x" * 33]}, "invalid"),
        ("/stop", {"level": "now"}, "invalid"),
        ("/override", {"percent": 4.9}, "invalid"),
        ("/override", {"percent": 101}, "invalid"),
        ("/override", {"percent": "50"}, "invalid"),
        ("/jog", {"joint": "elbow"}, "invalid"),
        ("/step", {"joint": "elbow", "by_deg": 0.1, "speed_deg_s": 0.0}, "invalid"),
        ("/runs", {"name": "", "text": "M2"}, "invalid"),
        ("/runs", None, "invalid"),
        ("/check", {}, "invalid"),
        ("/check", {"text": "M2", "block_delete": "yes"}, "invalid"),
        ("/check/curves", {"text": "M2", "optional_stop": 1}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "block_delete": None}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "loops": 2, "for_s": 60.0}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "for_s": 0.0}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "for_s": -1.0}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "for_s": 86401.0}, "invalid"),
        ("/runs", {"name": "a.nc", "text": "M2", "check_edges": True}, "invalid"),
    ],
)
async def test_wrong_input_is_unprocessable_and_says_where(
    client: httpx2.AsyncClient, path: str, body: Any, code: str
) -> None:
    problem(await client.post(f"/api/v1{path}", json=body), 422, code)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"percent": 4.9}, "body/percent: Input should be greater than or equal to 5; it is 4.9"),
        ({"percent": "much"}, '; it is "much"'),
        ({"percent": "x" * 5000}, f'; it is "{"x" * 39}…'),
        ({}, "body/percent: Field required"),
    ],
)
async def test_wrong_input_is_told_with_its_value_where_that_is_short(
    client: httpx2.AsyncClient, body: Any, says: str
) -> None:
    answer = await client.post("/api/v1/override", json=body)
    assert answer.json()["detail"].endswith(says)
    assert answer.json()["errors"][0]["message"].endswith(says.partition(": ")[2] or says)


async def test_a_check_leaves_out_lines_with_a_slash_where_block_delete_is_on(
    client: httpx2.AsyncClient,
) -> None:
    body = {"text": "/G2\nG0 A1\nM1\nM2\n"}
    assert not (await client.post("/api/v1/check", json=body)).json()["ok"]
    for switches in ({"block_delete": True}, {"block_delete": True, "optional_stop": True}):
        assert (await client.post("/api/v1/check", json=body | switches)).json()["ok"]
        drawn = await client.post("/api/v1/check/curves", json=body | switches)
        assert drawn.status_code == 200
    problem(await client.post("/api/v1/check/curves", json=body), 422, "program")


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff",
        b"[" * 100_000,
        b'{"percent": NaN}',
        b'{"percent": 1e999}',
        b'{"percent": ' + b"1" * 5000 + b"}",
        b'{"percent": true}',
        # Half of a surrogate pair, which the answer could not repeat in UTF-8 (RFC 8259 8.2).
        b'{"percent": "\\ud800"}',
        b'{"\\ud800": 50}',
    ],
)
async def test_what_is_no_json_or_no_figure_is_a_problem(
    client: httpx2.AsyncClient, body: bytes
) -> None:
    headers = {"content-type": "application/json"}
    response = await client.post("/api/v1/override", content=body, headers=headers)
    assert response.status_code in (400, 422)
    problem(
        response, response.status_code, "malformed" if response.status_code == 400 else "invalid"
    )


async def test_form_or_text_is_not_taken_for_json(client: httpx2.AsyncClient) -> None:
    body = b'{"level": "release"}'
    for kind in ("text/plain", "application/x-www-form-urlencoded"):
        response = await client.post("/api/v1/stop", content=body, headers={"content-type": kind})
        problem(response, 422, "invalid")


async def test_mistakes_of_a_program_are_listed_with_line_and_column(
    client: httpx2.AsyncClient,
) -> None:
    text = "G1 A10\nG0 A1000\nM2\n"
    body = problem(
        await client.post("/api/v1/runs", json={"name": "a.nc", "text": text}), 422, "program"
    )
    assert [(found["line"], found["column"]) for found in body["errors"]] == [(1, 1), (2, 4)]
    checked = (await client.post("/api/v1/check", json={"text": text})).json()
    assert not checked["ok"]
    assert {(found["line"]) for found in checked["errors"]} == {1, 2}
    good = (await client.post("/api/v1/check", json={"text": "G0 A10\nM2\n"})).json()
    assert good["ok"]
    assert [move["line"] for move in good["moves"]] == [1]


@pytest.mark.parametrize(
    ("count", "told"),
    [
        (1, "1 mistake"),
        (2, "2 mistakes"),
        (100, "100 mistakes"),
        (101, "more than 100 mistakes"),
        (300, "more than 100 mistakes"),
    ],
)
async def test_a_hundred_mistakes_are_counted(
    client: httpx2.AsyncClient, count: int, told: str
) -> None:
    text = "G0 A1000\n" * count + "M2\n"
    response = await client.post("/api/v1/runs", json={"name": "a.nc", "text": text})
    assert problem(response, 422, "program")["detail"] == f"the program has {told}"


async def test_one_program_is_checked_one_waits_and_the_next_is_told_when_to_come_back(
    client: httpx2.AsyncClient,
) -> None:
    asked = [client.post("/api/v1/check", json={"text": "G0 A10\nM2\n"}) for _ in range(3)]
    done = await asyncio.gather(*asked)
    busy = [response for response in done if response.status_code != 200]
    assert len(busy) == 1
    problem(busy[0], 503, "busy")
    assert int(busy[0].headers["retry-after"]) > 0


async def test_stop_is_allowed_at_any_time_and_names_its_levels(
    client: httpx2.AsyncClient,
) -> None:
    for body in ({}, {"level": "stop-and-release"}, {"level": "release"}):
        response = await client.post("/api/v1/stop", json=body)
        # No joint is there to confirm it, and the answer says so.
        told = {"phase": "idle", "unconfirmed": [joint.name for joint in load_arm(DEMO_ARM).joints]}
        assert (response.status_code, response.json()) == (200, told)


async def test_unknown_numbers_paths_and_methods_are_problems_too(
    client: httpx2.AsyncClient,
) -> None:
    for path in ("/runs/1", "/runs/1/report", "/runs/1/way", "/homings/1"):
        problem(await client.get(f"/api/v1{path}"), 404, "not-found")
    problem(await client.get("/nowhere"), 404, "not-found")
    problem(await client.get("/api/v1/runs/0"), 422, "invalid")
    problem(await client.get("/api/v1/runs/x"), 422, "invalid")
    response = await client.delete("/api/v1/arm")
    problem(response, 405, "method-not-allowed")
    assert "GET" in response.headers["allow"]
    assert (await client.get("/api/v1/runs")).json() == {"runs": []}


async def test_program_over_the_limit_is_named_with_its_size(client: httpx2.AsyncClient) -> None:
    text = "\n" * MAX_PROGRAM_BYTES
    checked = await client.post("/api/v1/check", json={"text": text})
    assert checked.status_code == 200
    for path, name in (("/check", "the program"), ("/runs", "long.nc")):
        body = {"text": text + "\n"} | ({"name": name} if path == "/runs" else {})
        response = await client.post(f"/api/v1{path}", json=body)
        detail = problem(response, 422, "program-too-large")["detail"]
        assert detail == f"{name} has 1000001 bytes, a program may have at most 1000000"


async def test_body_over_the_limit_is_not_read_to_its_end(client: httpx2.AsyncClient) -> None:
    text = json.dumps({"text": "(" + " " * MAX_BODY_BYTES + ")"})
    headers = {"content-type": "application/json"}
    problem(await client.post("/api/v1/check", content=text, headers=headers), 413, "too-large")

    async def in_parts() -> AsyncIterator[bytes]:  # says no length beforehand
        for _ in range(3):
            yield text[: MAX_BODY_BYTES // 2].encode()

    response = await client.post("/api/v1/check", content=in_parts(), headers=headers)
    problem(response, 413, "too-large")


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("127.0.0.1:8750", None),
        ("localhost", None),
        ("[::1]:9", "http://[::1]:9"),
        ("LOCALHOST:8750", "http://LOCALHOST:8750"),
    ],
)
async def test_this_hosts_names_and_its_own_pages_may_ask(
    client: httpx2.AsyncClient, host: str, origin: str | None
) -> None:
    headers = {"host": host} | ({"origin": origin} if origin else {})
    assert (await client.get("/api/v1/healthz", headers=headers)).status_code == 200


@pytest.mark.parametrize(
    ("host", "origin", "code"),
    [
        ("evil.example", None, "host"),
        ("127.0.0.1.evil.example", None, "host"),
        ("localhost:80:80", None, "host"),
        ("192.0.2.1:8750", None, "host"),
        ("", None, "host"),
        ("127.0.0.1:8750", "http://evil.example", "origin"),
        ("127.0.0.1:8750", "null", "origin"),
        ("127.0.0.1:8750", "https://127.0.0.1:8750", "origin"),
        ("127.0.0.1:8750", "http://127.0.0.1:3000", "origin"),
    ],
)
async def test_other_hosts_and_other_pages_are_forbidden(
    client: httpx2.AsyncClient, host: str, origin: str | None, code: str
) -> None:
    headers = {"host": host} | ({"origin": origin} if origin else {})
    problem(await client.post("/api/v1/stop", json={}, headers=headers), 403, code)


async def test_a_second_origin_or_host_is_forbidden(client: httpx2.AsyncClient) -> None:
    for name, value in (("host", "127.0.0.1"), ("origin", "http://127.0.0.1")):
        headers = [("host", "127.0.0.1"), ("origin", "http://127.0.0.1"), (name, value)]
        problem(await client.get("/api/v1/arm", headers=headers), 403, name)


async def test_broken_route_tells_nothing_of_its_insides(
    client: httpx2.AsyncClient, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> dict[str, Any]:
        raise RuntimeError("a secret of the house")

    monkeypatch.setattr(service, "snapshot", broken)
    body = problem(await client.get("/api/v1/arm"), 500, "internal")
    assert "secret" not in json.dumps(body)


async def test_every_route_is_described_there_and_in_the_readme(
    client: httpx2.AsyncClient,
) -> None:
    described = (await client.get("/api/v1/openapi.json")).json()["paths"]
    routes = {
        f"{method.upper()} {path.removeprefix('/api/v1')}".replace("{number}", "N").replace(
            "{name}", "NAME"
        )
        for path, methods in described.items()
        for method in methods
    }
    readme = README.read_text(encoding="utf-8")
    assert {"GET /arm", "POST /runs", "GET /runs/N/report", "POST /stop"} <= routes
    assert {route for route in routes if f"`{route}`" not in readme} == set()


async def test_pose_that_the_arm_file_lacks_is_named_with_those_that_it_has(
    client: httpx2.AsyncClient,
) -> None:
    answer = await client.post("/api/v1/go", json={"pose": "nowhere"})
    told = problem(answer, 422, "pose-unknown")["detail"]
    assert "'nowhere'" in told
    assert "park, upright" in told
    # A known one gets as far as the joints, of which none is there.
    problem(await client.post("/api/v1/go", json={"pose": "park"}), 409, "joint-offline")
    problem(
        await client.post("/api/v1/go", json={"angles_deg": {"elbow": 3.0}}), 409, "joint-offline"
    )


@pytest.mark.parametrize("body", [{}, {"pose": "park", "waypoint": 1}, {"angles_deg": {}}])
async def test_way_goes_to_exactly_one_place(client: httpx2.AsyncClient, body: Any) -> None:
    assert (await client.post("/api/v1/go", json=body)).status_code == 422
