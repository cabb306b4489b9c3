"""Elsewhere than on loopback: tokens, roles, and the login of a page. Without sockets."""

import logging
from collections.abc import AsyncIterator
from pathlib import Path

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.routing import Route
from starlette.types import Message, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from coordinator.api import create_app
from coordinator.api.authentication import WRONG_TOKENS, Authentication
from coordinator.api.middleware import RequestChecks
from coordinator.api.served_at import ServedAt
from coordinator.api.tokens import Role, Tokens
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import API_PREFIX, DEMO_ARM, DEMO_PROGRAM
from coordinator.service import Service

BASE = "https://bench.local:8750"
PAGE = {"origin": BASE}


@pytest.fixture(name="tokens")
def tokens_of(tmp_path: Path) -> dict[Role, str]:
    return Tokens(tmp_path).make(list(Role))


@pytest.fixture(name="http")
async def http_of(tmp_path: Path, tokens: dict[Role, str]) -> AsyncIterator[httpx2.AsyncClient]:
    assert tokens
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    served_at = ServedAt("https", ("192.0.2.7", "bench.local"), Authentication(Tokens(tmp_path)))
    transport = httpx2.ASGITransport(create_app(service, served_at))
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as http:
        yield http
    await service.close()


def bearer(token: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def verdict(response: httpx2.Response) -> tuple[int, str]:
    return response.status_code, str(response.json().get("type", "")).rpartition(":")[2]


READS = ["/arm", "/runs", "/control", "/openapi.json"]
POSTS = [
    ("/home", {}),
    ("/runs", {"name": "a.nc", "text": "M2\n"}),
    ("/check", {"text": "M2\n"}),
    ("/resume", None),
    ("/override", {"percent": 50}),
    ("/output", {"output": "gripper", "on": True}),
    ("/jog", {"velocities_deg_s": {"elbow": 1.5}}),
    ("/blink", {"joint": "elbow"}),
    ("/joints/elbow/home/accept", None),
    ("/control/take", None),
    ("/control/release", None),
    ("/hold", None),
    ("/stop", {}),
]


async def test_without_a_token_there_is_the_page_and_nothing_of_the_arm(
    http: httpx2.AsyncClient,
) -> None:
    for path in READS:
        answer = await http.get(API_PREFIX + path)
        assert verdict(answer) == (401, "token")
        assert answer.headers["www-authenticate"] == "Bearer"
    for path, body in POSTS:
        assert verdict(await http.post(API_PREFIX + path, json=body)) == (401, "token")
    assert (await http.get("/")).status_code == 200
    assert (await http.get(API_PREFIX + "/healthz")).status_code == 200
    assert (await http.get(API_PREFIX + "/session")).json() == {"role": None}


async def test_every_route_needs_a_token_but_these(http: httpx2.AsyncClient) -> None:
    transport = http._transport
    assert isinstance(transport, httpx2.ASGITransport)
    app = transport.app
    assert isinstance(app, FastAPI)
    # Routers that were included are listed in the schema only.
    paths = {route.path for route in app.routes if isinstance(route, APIRoute | Route)}
    paths |= set(app.openapi()["paths"])
    open_to_all = set()
    for path in sorted(paths):
        if (await http.get(path.replace("{number}", "1"))).status_code != 401:
            open_to_all.add(path)
    assert {API_PREFIX + "/arm", "/metrics"} <= paths
    assert open_to_all == {
        "/healthz",
        "/readyz",
        f"/examples/{DEMO_PROGRAM.name}",
        API_PREFIX + "/healthz",
        API_PREFIX + "/session",
    }


async def test_watching_sees_holds_and_stops_and_nothing_else(
    http: httpx2.AsyncClient, tokens: dict[Role, str]
) -> None:
    http.headers.update(bearer(tokens[Role.WATCH]))
    for path in READS:
        assert (await http.get(API_PREFIX + path)).status_code == 200
    for path, body in POSTS:
        answer = await http.post(API_PREFIX + path, json=body)
        if path in ("/hold", "/stop"):
            assert verdict(answer)[1] in ("", "no-run")
        else:
            assert verdict(answer) == (403, "role"), path
    for ask in (http.post, http.delete):
        assert verdict(await ask(API_PREFIX + "/joints/elbow/update")) == (403, "role")


async def test_a_way_back_takes_the_role_to_operate_as_it_takes_the_planner(
    http: httpx2.AsyncClient, tokens: dict[Role, str]
) -> None:
    path = API_PREFIX + "/runs/1/way"
    answer = await http.get(path, headers=bearer(tokens[Role.WATCH]))
    assert verdict(answer) == (403, "role")
    answer = await http.get(path, headers=bearer(tokens[Role.OPERATE]))
    assert verdict(answer) == (404, "not-found")


@pytest.mark.parametrize("level", ["release", "stop-and-release"])
async def test_letting_the_drivers_go_takes_the_role_to_operate(
    http: httpx2.AsyncClient, tokens: dict[Role, str], level: str
) -> None:
    path, body = API_PREFIX + "/stop", {"level": level}
    answer = await http.post(path, json=body, headers=bearer(tokens[Role.WATCH]))
    assert verdict(answer) == (403, "role")
    answer = await http.post(path, json=body, headers=bearer(tokens[Role.OPERATE]))
    assert answer.status_code == 200


async def test_operating_may_do_everything(
    http: httpx2.AsyncClient, tokens: dict[Role, str]
) -> None:
    http.headers.update(bearer(tokens[Role.OPERATE]))
    for path, body in POSTS:
        assert (await http.post(API_PREFIX + path, json=body)).status_code in (200, 409), path


async def test_a_page_logs_in_and_out_by_a_cookie_that_no_script_and_no_other_site_can_use(
    http: httpx2.AsyncClient, tokens: dict[Role, str]
) -> None:
    body = {"token": tokens[Role.WATCH]}
    answer = await http.post(API_PREFIX + "/session", json=body, headers=PAGE)
    assert (answer.status_code, answer.json()) == (200, {"role": "watch"})
    name, *attributes = answer.headers["set-cookie"].split("; ")
    # RFC 6265bis 4.1.3.2: __Host- is Secure, has Path=/ and no Domain.
    assert name.startswith("__Host-")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=strict"} <= set(attributes)
    assert not any(attribute.startswith("Domain") for attribute in attributes)
    assert (await http.get(API_PREFIX + "/session", headers=PAGE)).json() == {"role": "watch"}
    assert (await http.get(API_PREFIX + "/arm", headers=PAGE)).status_code == 200
    await http.delete(API_PREFIX + "/session", headers=PAGE)
    http.cookies.clear()
    assert verdict(await http.get(API_PREFIX + "/arm", headers=PAGE)) == (401, "token")


async def test_a_new_token_shuts_out_the_page_that_has_the_old_one(
    http: httpx2.AsyncClient, tokens: dict[Role, str], tmp_path: Path
) -> None:
    http.headers.update(bearer(tokens[Role.OPERATE]))
    assert (await http.get(API_PREFIX + "/arm")).status_code == 200
    Tokens(tmp_path).make([Role.OPERATE])
    assert verdict(await http.get(API_PREFIX + "/arm")) == (401, "token")


async def test_a_feed_that_is_open_ends_when_its_token_becomes_void(
    tokens: dict[Role, str], tmp_path: Path
) -> None:
    async def feed(scope: Scope, receive: Receive, send: Send) -> None:
        socket = WebSocket(scope, receive, send)
        await socket.accept()
        await socket.send_text("one")
        Tokens(tmp_path).make([Role.OPERATE])
        await socket.send_text("two")
        Tokens(tmp_path).make([Role.WATCH])
        with pytest.raises(WebSocketDisconnect):
            await socket.send_text("three")

    sent: list[Message] = []

    async def receive() -> Message:
        return {"type": "websocket.connect"}

    async def send(message: Message) -> None:
        sent.append(message)

    served_at = ServedAt("https", ("bench.local",), Authentication(Tokens(tmp_path)))
    headers = {"host": "bench.local", **bearer(tokens[Role.WATCH])}
    scope = {
        "type": "websocket",
        "path": API_PREFIX + "/feed",
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }
    await RequestChecks(feed, served_at, 1)(scope, receive, send)
    assert [message["type"] for message in sent] == [
        "websocket.accept", "websocket.send", "websocket.send", "websocket.close",
    ]  # fmt: skip
    assert (sent[-1]["code"], sent[-1]["reason"]) == (1008, "the token is void")


@pytest.mark.parametrize("by_login", [True, False])
async def test_many_wrong_tokens_are_turned_away_and_logged_once_but_a_right_one_never_waits(
    http: httpx2.AsyncClient,
    tokens: dict[Role, str],
    caplog: pytest.LogCaptureFixture,
    by_login: bool,
) -> None:
    async def wrong() -> httpx2.Response:
        if by_login:
            return await http.post(API_PREFIX + "/session", json={"token": "guess"})
        return await http.get(API_PREFIX + "/arm", headers=bearer("guess"))

    with caplog.at_level(logging.WARNING, "coordinator.api.authentication"):
        answers = [await wrong() for _ in range(WRONG_TOKENS + 5)]
    assert [verdict(answer) for answer in answers[:WRONG_TOKENS]] == [(401, "token")] * WRONG_TOKENS
    assert [verdict(answer) for answer in answers[WRONG_TOKENS:]] == [(429, "token")] * 5
    assert 0 < int(answers[-1].headers["retry-after"]) <= 60
    assert len(caplog.records) == 1
    headers = bearer(tokens[Role.WATCH])
    assert (await http.post(API_PREFIX + "/stop", json={}, headers=headers)).status_code == 200


@pytest.mark.parametrize(
    ("host", "origin", "code"),
    [
        ("evil.example", None, "host"),
        ("192.0.2.7.evil.example", None, "host"),
        ("127.0.0.1:8750", None, "host"),
        ("localhost", None, "host"),
        ("bench.local:8750", "https://evil.example", "origin"),
        ("bench.local:8750", "http://bench.local:8750", "origin"),
        ("bench.local:8750", "https://192.0.2.7:8750", "origin"),
        ("bench.local:8750", "null", "origin"),
    ],
)
async def test_a_foreign_host_or_page_is_forbidden_whatever_its_token(
    http: httpx2.AsyncClient, tokens: dict[Role, str], host: str, origin: str | None, code: str
) -> None:
    headers = bearer(tokens[Role.OPERATE]) | {"host": host}
    headers |= {"origin": origin} if origin else {}
    answer = await http.post(API_PREFIX + "/stop", json={}, headers=headers)
    assert verdict(answer) == (403, code)


@pytest.mark.parametrize("host", ["192.0.2.7", "192.0.2.7:8750", "Bench.Local:8750"])
async def test_the_address_and_the_names_that_are_served_may_be_asked(
    http: httpx2.AsyncClient, tokens: dict[Role, str], host: str
) -> None:
    headers = bearer(tokens[Role.WATCH]) | {"host": host, "origin": f"https://{host}"}
    assert (await http.get(API_PREFIX + "/arm", headers=headers)).status_code == 200


@pytest.mark.parametrize("cookie", ["", "=", "__Host-unisono", "__Host-unisono=", "a=b; \x01=c"])
async def test_a_malformed_cookie_is_no_token(http: httpx2.AsyncClient, cookie: str) -> None:
    answer = await http.get(API_PREFIX + "/arm", headers={"cookie": cookie})
    assert verdict(answer) == (401, "token")
