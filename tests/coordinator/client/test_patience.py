"""How long a client waits for what takes a coordinator long."""

import asyncio

import httpx2

from coordinator.client.asking import PATIENCE_S, Asking
from coordinator.client.questions import Questions
from coordinator.client.questions.patience import LONGEST_S, PLANNING_S


class Noting:
    """A transport that notes how long it may take, and is answered at once."""

    closed = False

    def __init__(self) -> None:
        self.patience_s: dict[str, float] = {}

    async def request(
        self, _method: str, path: str, _body: object, patience_s: float
    ) -> httpx2.Response:
        self.patience_s[path] = patience_s
        if path.endswith("/record"):
            return httpx2.Response(200, html="<html/>")
        way = {"run": 4, "name": "a.nc", "line": 7, "angles_deg": {}}
        return httpx2.Response(200, json=way | {"runs": []})

    async def stream(self, *_asked: object) -> httpx2.Response:
        raise AssertionError("nothing is told meanwhile")

    async def sleep(self, _seconds: float) -> None:
        raise AssertionError("nothing is waited for")

    async def close(self) -> None:
        raise AssertionError("nothing is closed")


def test_a_record_and_the_way_back_of_a_long_program_are_waited_for() -> None:
    noting = Noting()
    questions = Questions(Asking("http://127.0.0.1:9", noting))

    async def ask() -> None:
        await questions.run_record(4)
        await questions.way_back(4)
        await questions.runs()

    asyncio.run(ask())
    assert noting.patience_s == {
        "/runs/4/record": PLANNING_S, "/runs/4/way": LONGEST_S, "/runs?limit=100": PATIENCE_S,
    }  # fmt: skip
    # A million lines at a third of a millisecond each (README, 'Programs'), twice over.
    assert LONGEST_S > 2 * 1_000_000 * 0.33e-3
