"""The live feed on real sockets, of an arm none of whose joints is there."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import ANY, Mock

import httpx2
import orjson
import pytest
from fastapi import FastAPI
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidStatus

from coordinator.api import create_app
from coordinator.api import feed_socket as watching
from coordinator.api import live_feed as feed
from coordinator.api.live_feed import QUEUED, LiveFeed
from coordinator.codes.arm_phase import ArmPhase
from coordinator.codes.level import Level
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.core.events import Because, Hold, HoldHome, Jog
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.service import Service
from tests.as_json import as_json
from tests.coordinator.api.reader import applied
from tests.coordinator.api.serving import Server, serving

PATIENCE_S = 100.0
AT_ONCE = 16
"""Connections that are opened at once: more from one address are taken for a mistake."""


@dataclass
class ServedAt:
    """A service with its API, served."""

    service: Service
    app: FastAPI
    server: Server

    @property
    def feed(self) -> LiveFeed:
        feed: LiveFeed = self.app.state.feed
        return feed

    def watch(self, query: str = "", **more: Any) -> Any:
        """A client of the feed, to be entered."""
        url = f"ws://127.0.0.1:{self.server.port}/api/v1/feed{query}"
        return connect(url, compression=None, proxy=None, **more)


@pytest.fixture(name="still")
async def still_place(tmp_path: Path) -> AsyncIterator[ServedAt]:
    """Its feed tells something only when the test says so."""
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    app = create_app(service)
    async with asyncio.timeout(PATIENCE_S), serving(app) as server:
        yield ServedAt(service, app, server)
    assert app.state.feed.watchers == 0
    await service.close()


@pytest.fixture(name="served_at")
async def telling_place(still: ServedAt) -> AsyncIterator[ServedAt]:
    """Its feed goes on by itself."""
    telling = asyncio.create_task(still.feed.run())
    yield still
    telling.cancel()
    await asyncio.gather(telling, return_exceptions=True)


async def message(client: ClientConnection) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(await client.recv())
    return found


async def until_watched(served_at: ServedAt, count: int) -> None:
    while served_at.feed.watchers != count:
        await asyncio.sleep(0.001)


async def ended(client: ClientConnection) -> tuple[int, str]:
    """Code and reason with which a connection ends; what comes before is read."""
    try:
        while True:
            await client.recv()
    except ConnectionClosed as closed:
        return (closed.rcvd.code, closed.rcvd.reason) if closed.rcvd else (1006, "")


async def test_the_whole_comes_first_then_changes_numbered_one_by_one(served_at: ServedAt) -> None:
    async with served_at.watch() as client:
        whole = await message(client)
        assert whole["type"] == "whole"
        assert whole["version"].startswith("0.1.0-")
        assert whole["state"]["arm"] == "bench arm"
        assert whole["state"]["joints"][0]["range_deg"] == [-170.0, 170.0]
        assert whole["state"]["preview"] is None
        assert set(whole["history"]) == {"joints", "temperature"}
        for k in range(1, 5):
            found = await message(client)
            assert (found["type"], found["seq"]) == ("change", whole["seq"] + k)
            assert found["at_us"] > whole["state"]["now_us"]


async def test_what_changes_brings_a_reader_to_what_the_arm_is_asked_for(
    served_at: ServedAt,
) -> None:
    async with served_at.watch() as client:
        state = (await message(client))["state"]
        served_at.service.tell(Level.INFO, "greeting", "somebody says hello")
        while not state["notes"]:
            state = applied(state, await message(client))
        assert state["notes"][-1]["code"] == "greeting"
        asked = as_json(served_at.service.snapshot())
        for joint in asked["joints"]:
            del joint["age_us"]
        differing = {key for key in asked if asked[key] != state[key]}
        assert differing == {"now_us"}


async def test_a_change_holds_only_what_differs(still: ServedAt) -> None:
    async with still.watch() as client:
        await until_watched(still, 1)
        await still.feed.tick()
        whole = await message(client)
        await still.feed.tick()
        assert await message(client) == {
            "type": "change", "seq": whole["seq"] + 1, "set": {}, "joints": {}, "notes": [],
            "at_us": ANY,
        }  # fmt: skip
        still.service._core.links[1].connection.configuration_refused("why")
        await still.feed.tick()
        found = await message(client)
        assert found["joints"] == {
            "shoulder": {"configuration_message": "does not take its configuration: why"}
        }
        assert found["set"] == {}


async def test_joints_that_still_brake_after_a_stop_are_told_of_as_often_as_in_motion(
    still: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not await still.feed.tick()
    state = still.service.snapshot()
    assert state.phase is ArmPhase.IDLE
    first, *others = state.joints
    state = replace(state, joints=(replace(first, velocity_deg_s=-3.0), *others))
    monkeypatch.setattr(still.service, "snapshot", lambda: state)
    assert await still.feed.tick()


async def test_ten_to_twenty_five_messages_a_second_are_told_in_motion_and_fewer_at_rest(
    still: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = still.service.snapshot()
    first, *others = state.joints
    velocity_deg_s = 0.0

    def told() -> ArmSnapshot:
        return replace(state, joints=(replace(first, velocity_deg_s=velocity_deg_s), *others))

    monkeypatch.setattr(still.service, "snapshot", told)
    waits_s: list[float] = []

    async def sleep(seconds: float) -> None:
        nonlocal velocity_deg_s
        waits_s.append(seconds)
        velocity_deg_s = 3.0 if len(waits_s) == 1 else 0.0
        if len(waits_s) == 3:
            raise asyncio.CancelledError

    own = SimpleNamespace(sleep=sleep, get_running_loop=asyncio.get_running_loop)
    monkeypatch.setattr(feed, "asyncio", own)
    with pytest.raises(asyncio.CancelledError):
        await still.feed.run()
    at_rest_s, moving_s, again_s = waits_s
    assert 1 / 25 <= moving_s <= 1 / 10
    # A page counts a coordinator as gone after 0.7 s (state.js).
    assert moving_s < at_rest_s == again_s < 0.35


async def test_who_comes_later_is_told_the_whole_and_then_the_same_as_the_others(
    still: ServedAt,
) -> None:
    async with still.watch() as first:
        await until_watched(still, 1)
        await still.feed.tick()
        await still.feed.tick()
        async with still.watch() as second:
            await until_watched(still, 2)
            await still.feed.tick()
            await still.feed.tick()
            seen = [await message(first) for _ in range(4)]
            whole, change = await message(second), await message(second)
            assert [one["type"] for one in seen] == ["whole", "change", "change", "change"]
            assert (whole["type"], whole["seq"]) == ("whole", seen[2]["seq"])
            assert change == seen[3]


async def test_two_hundred_watchers_get_the_same_bytes_and_shut_out_nobody_elses_command(
    still: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    encoded = Mock(wraps=orjson.dumps)
    monkeypatch.setattr(feed, "orjson", SimpleNamespace(dumps=encoded))
    async with AsyncExitStack() as stack:
        clients: list[ClientConnection] = []
        for _ in range(0, 200, AT_ONCE):
            opened = (still.watch() for _ in range(min(AT_ONCE, 200 - len(clients))))
            clients += await asyncio.gather(*(stack.enter_async_context(one) for one in opened))
        await until_watched(still, 200)
        for _ in range(5):
            await still.feed.tick()
            still.service.tell(Level.INFO, "greeting", "somebody says hello")
        assert encoded.call_count == 5  # once for all of them
        for _ in range(5):
            assert len({await client.recv(decode=False) for client in clients}) == 1
        async with httpx2.AsyncClient(base_url=f"http://127.0.0.1:{still.server.port}") as http:
            assert (await http.post("/api/v1/stop", json={})).status_code == 200
            arm = (await http.get("/api/v1/control")).json()
            assert arm["watchers"] == 200


async def test_a_reader_that_is_too_slow_is_dropped_while_others_go_on(
    still: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with still.watch() as good:
        bad = still.watch(max_queue=1)
        await bad.__aenter__()
        await until_watched(still, 2)
        last = 0
        while still.feed.watchers == 2:
            # Long messages, so that what lies between the two ends is soon full.
            still.service.tell(Level.INFO, "greeting", "x" * 100_000)
            await still.feed.tick()
            last = (await message(good))["seq"]
        assert last > QUEUED
        await still.feed.tick()
        assert (await message(good))["seq"] == last + 1
        while len(still.server.server_state.connections) > 1:
            await asyncio.sleep(0.01)
        bad.connection.transport.abort()


@pytest.mark.parametrize("said", ["hello", b"\x00", "", "x" * 1024])
async def test_whoever_says_what_is_no_wish_is_shut_out(
    served_at: ServedAt, said: str | bytes
) -> None:
    async with served_at.watch() as client:
        await message(client)
        await client.send(said)
        code, reason = await ended(client)
        assert (code, reason[:9]) == (1008, "no wish: ")


JOG: dict[str, Any] = {"type": "jog", "number": 1, "velocities_deg_s": {"elbow": 1.0}}
HOME: dict[str, Any] = {"type": "home", "number": 1, "joint": "elbow"}


async def test_what_a_wish_is_refused_for_is_told_to_its_client_alone(served_at: ServedAt) -> None:
    async with served_at.watch("?client=the-phone") as client, served_at.watch() as other:
        now_us = (await message(client))["state"]["now_us"]
        await client.send(json.dumps({**JOG, "at_us": now_us}))
        while (answer := await message(client))["type"] != "refused":
            assert "seq" in answer
        assert (answer["number"], answer["code"]) == (1, "joint-offline")
        for _ in range(5):
            assert (await message(other))["type"] in ("whole", "change")


async def test_a_wish_of_a_client_while_another_has_control_is_refused(
    served_at: ServedAt,
) -> None:
    base = f"http://127.0.0.1:{served_at.server.port}/api/v1"
    async with httpx2.AsyncClient(base_url=base) as http:
        await http.post("/control/take", headers={"Unisono-Client": "the-laptop"})
    async with served_at.watch("?client=the-phone") as client:
        now_us = (await message(client))["state"]["now_us"]
        await client.send(json.dumps({**JOG, "at_us": now_us}))
        while (answer := await message(client))["type"] != "refused":
            pass
        assert answer["code"] == "control"
        # To let go is refused to nobody, and says nothing.
        await client.send(json.dumps({**JOG, "number": 2, "at_us": 0, "velocities_deg_s": {}}))
        for _ in range(3):
            assert (await message(client))["type"] == "change"


@pytest.mark.parametrize("leaves", [True, False])
@pytest.mark.parametrize(
    ("wish", "command"),
    [(JOG, Jog({"elbow": 1.0})), (HOME, HoldHome("elbow"))],
    ids=["jog", "home"],
)
async def test_where_the_feed_of_the_hand_that_jogs_or_homes_ends_the_motion_does(
    served_at: ServedAt,
    monkeypatch: pytest.MonkeyPatch,
    wish: dict[str, Any],
    command: object,
    leaves: bool,
) -> None:
    asked: list[object] = []
    monkeypatch.setattr(Service, "command", lambda _self, one, *_, **__: asked.append(one))
    monkeypatch.setattr(Service, "moved_by_hand", True)
    query = "?client=the-phone"
    async with served_at.watch(query) as client:
        now_us = (await message(client))["state"]["now_us"]
        await client.send(json.dumps({**wish, "at_us": now_us}))
        while not asked:
            await asyncio.sleep(0.001)
        if not leaves:
            async with served_at.watch() as other:  # who never jogged ends nothing by going
                await message(other)
            assert asked == [command]
    while len(asked) < 2:
        await asyncio.sleep(0.001)
    assert asked == [command, Hold(Because.GONE)]


async def test_a_wish_on_a_feed_from_before_the_laptop_slept_closes_it_and_moves_nothing(
    served_at: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with served_at.watch() as client:
        now_us = (await message(client))["state"]["now_us"]
        monkeypatch.setattr(Service, "session", 7)
        await client.send(json.dumps({**JOG, "at_us": now_us}))
        assert await ended(client) == (1013, "the session is another one")
    async with served_at.watch() as client:
        assert (await message(client))["type"] == "whole"


async def test_whoever_says_much_is_shut_out_before_it_is_read(served_at: ServedAt) -> None:
    async with served_at.watch() as client:
        await client.send("x" * 1025)
        assert (await ended(client))[0] == 1009


async def test_one_too_many_is_told_so_and_may_come_when_another_has_left(
    served_at: ServedAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "MAX_WATCHERS", 2)
    async with served_at.watch():
        async with served_at.watch():
            await until_watched(served_at, 2)
            async with served_at.watch() as third:
                assert await ended(third) == (1013, "2 clients watch already")
        await until_watched(served_at, 1)
        async with served_at.watch() as third:
            assert (await message(third))["type"] == "whole"


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"additional_headers": {"Host": "evil.example"}},
    ],
)
async def test_a_foreign_page_is_refused_before_anything_is_told(
    served_at: ServedAt, headers: dict[str, Any]
) -> None:
    with pytest.raises(InvalidStatus) as caught:
        async with served_at.watch(**headers):
            pass
    assert caught.value.response.status_code == 403
    assert json.loads(caught.value.response.body or b"")["type"].startswith("urn:unisono:problem:")
    assert served_at.feed.watchers == 0


async def test_the_own_page_may_watch(served_at: ServedAt) -> None:
    async with served_at.watch(origin=f"http://127.0.0.1:{served_at.server.port}") as client:
        assert (await message(client))["type"] == "whole"


async def test_an_open_feed_is_a_word_of_its_client_and_everybody_sees_how_many_watch(
    served_at: ServedAt,
) -> None:
    async with (
        served_at.watch("?client=abcdefgh"),
        served_at.watch("?client=no"),
        served_at.watch() as third,
    ):
        await until_watched(served_at, 3)
        seen = (await message(third))["state"]["control"]
        while seen["watchers"] != 3:
            seen = (await message(third))["set"].get("control", seen)
        feeds = served_at.app.state.control._feeds
        assert feeds["abcdefgh"] == 1
    await until_watched(served_at, 0)
    assert not feeds


async def test_watchers_are_sent_away_when_the_server_ends_and_nothing_is_left(
    served_at: ServedAt,
) -> None:
    async with served_at.watch() as client, served_at.watch():
        await message(client)
        served_at.server.should_exit = True
        assert (await ended(client))[0] == 1012
        await until_watched(served_at, 0)
        while served_at.server.server_state.tasks:
            await asyncio.sleep(0.001)
        names = {task.get_coro().__qualname__ for task in asyncio.all_tasks()}  # type: ignore[union-attr]
        assert not {name for name in names if name.startswith(("_send", "_serve", "Reader"))}


async def test_after_a_mistake_everybody_is_told_the_whole_anew(
    served_at: ServedAt, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async with served_at.watch() as client:
        assert (await message(client))["type"] == "whole"

        def broken() -> dict[str, Any]:
            raise RuntimeError("a slip")

        with monkeypatch.context() as patched:
            patched.setattr(served_at.service, "snapshot", broken)
            while "a slip" not in caplog.text:
                await asyncio.sleep(0.01)
        while (await message(client))["type"] != "whole":
            pass
