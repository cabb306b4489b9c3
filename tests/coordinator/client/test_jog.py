"""A jog that goes on while a context is open and ends with it; the coordinator is a stand-in."""

import asyncio
import json
import threading
from typing import Any

import pytest

from coordinator.client import AsyncClient, Client, JogLapsed, Refused
from coordinator.client.renewal import LAPSES_S, RENEW_S
from coordinator.core.jogging import JOG_RENEWAL_US
from tests.coordinator.cli.servers import Answer, served
from tests.coordinator.client.asked import told

WISH = {"elbow": 5.0, "wrist": -2.0}
SAID: dict[str, Any] = {"velocities_deg_s": WISH}
LET_GO: dict[str, Any] = {"velocities_deg_s": {}}
REFUSED = told({"type": "urn:unisono:problem:jog-ended", "detail": "the jog was ended"}, 409)


class Jogged:
    """Keeps what it is asked; from the so-manieth wish on it refuses."""

    def __init__(self, refuses_from: int = 1_000_000) -> None:
        self.wishes: list[Any] = []
        self.refuses_from = refuses_from
        self.enough = threading.Event()
        """Set once the jog was said three times."""
        self.refused = threading.Event()

    def __call__(self, path: str, body: bytes) -> Answer:
        assert path == "/api/v1/jog"
        self.wishes.append(json.loads(body))
        if self.wishes[-1] != LET_GO and len(self.wishes) >= self.refuses_from:
            self.refused.set()
            return REFUSED
        if len(self.wishes) >= 3:
            self.enough.set()
        return told({"phase": "jogging", "unconfirmed": []})


class Startled(Exception):
    """What a script raises."""


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy computer nothing lapses but where a test is about that."""
    monkeypatch.setattr("coordinator.client.renewal.LAPSES_S", 60.0)


async def _until_it_ends(client: AsyncClient) -> None:
    async with client.jog(WISH):
        await asyncio.Event().wait()


def _until_no_renewal() -> None:
    for thread in threading.enumerate():
        if "renew" in thread.name:
            thread.join()


async def enough(jogged: Jogged) -> None:
    await asyncio.to_thread(jogged.enough.wait)


def test_a_jog_is_said_again_well_before_the_coordinator_lets_it_end() -> None:
    assert LAPSES_S == JOG_RENEWAL_US / 1e6
    assert RENEW_S < LAPSES_S / 3


def test_it_is_said_again_until_left_and_let_go_last() -> None:
    jogged = Jogged()
    with served(jogged) as url, Client(url) as client, client.jog(WISH):
        jogged.enough.wait()
    assert jogged.wishes.pop() == LET_GO
    assert len(jogged.wishes) >= 3
    assert all(wish == SAID for wish in jogged.wishes)


async def test_so_it_is_in_an_event_loop() -> None:
    jogged = Jogged()
    with served(jogged) as url:
        async with AsyncClient(url) as client, client.jog(WISH):
            await enough(jogged)
    assert jogged.wishes.pop() == LET_GO
    assert len(jogged.wishes) >= 3
    assert all(wish == SAID for wish in jogged.wishes)


@pytest.mark.parametrize("error", [Startled, KeyboardInterrupt, SystemExit])
def test_whatever_is_raised_inside_lets_go_and_goes_on(error: type[BaseException]) -> None:
    jogged, raised = Jogged(), error()
    with served(jogged) as url, Client(url) as client:
        with pytest.raises(error) as caught, client.jog(WISH):
            raise raised
        assert caught.value is raised
        assert jogged.wishes[-1] == LET_GO


async def test_so_it_does_in_an_event_loop() -> None:
    jogged, raised = Jogged(), Startled()

    async def script(client: AsyncClient) -> None:
        async with client.jog(WISH):
            raise raised

    with served(jogged) as url:
        async with AsyncClient(url) as client:
            with pytest.raises(Startled) as caught:
                await script(client)
            assert caught.value is raised
            assert jogged.wishes[-1] == LET_GO


async def test_a_task_that_is_cancelled_lets_go() -> None:
    jogged = Jogged()
    with served(jogged) as url:
        async with AsyncClient(url) as client:
            task = asyncio.create_task(_until_it_ends(client))
            await enough(jogged)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            assert jogged.wishes[-1] == LET_GO


def test_what_is_refused_at_once_is_raised_before_anything_inside_is_done() -> None:
    jogged = Jogged(refuses_from=1)
    with served(jogged) as url, Client(url) as client:
        with pytest.raises(Refused, match="the jog was ended"), client.jog(WISH):
            raise AssertionError("nothing may be done here")
        assert jogged.wishes.count(SAID) == 1


async def test_a_jog_that_is_refused_while_it_goes_on_ends_what_is_inside() -> None:
    jogged = Jogged(refuses_from=3)
    with served(jogged) as url:
        async with AsyncClient(url) as client:
            with pytest.raises(Refused, match="the jog was ended") as refused:
                await _until_it_ends(client)
            assert refused.value.code == "jog-ended"
            task = asyncio.current_task()
            assert task is not None
            assert not task.cancelling()  # the rest of the script goes on
    assert jogged.wishes.count(SAID) == 3


@pytest.mark.parametrize(("error", "expected"), [(None, Refused), (Startled, Startled)])
def test_without_a_loop_that_is_raised_at_the_end_unless_something_else_is(
    error: type[Exception] | None, expected: type[Exception]
) -> None:
    jogged = Jogged(refuses_from=2)

    def script(client: Client) -> None:
        with client.jog(WISH):
            jogged.refused.wait()
            if error is not None:
                raise error

    with served(jogged) as url, Client(url) as client:
        with pytest.raises(expected):
            script(client)
        assert jogged.wishes == [SAID, SAID, LET_GO]


async def test_a_jog_that_lapsed_is_not_begun_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coordinator.client.renewal.LAPSES_S", 0.0)
    jogged = Jogged()
    with served(jogged) as url:
        async with AsyncClient(url) as client:
            with pytest.raises(JogLapsed, match="the jog of elbow, wrist was not said"):
                await _until_it_ends(client)
        with Client(url) as other, pytest.raises(JogLapsed), other.jog(WISH):
            _until_no_renewal()
    assert jogged.wishes == [SAID, LET_GO, SAID, LET_GO]
