"""Long programs: sent as they are, named by their digest, bounded and never mistaken."""

import asyncio
import hashlib
from collections.abc import AsyncIterator

import httpx2
import pytest

from coordinator.api.bodies import MAX_BODY_BYTES
from coordinator.programs.size import MAX_LONG_BYTES, MAX_LONG_LINES

LONG = ("(" + "long " * 45 + ")\n") * 5_000 + "G0 A-5 B-4\nA-6\nM2\n"


async def sent(http: httpx2.AsyncClient, text: str) -> str:
    answer = await http.post("/texts", content=text.encode())
    assert answer.status_code == 201
    digest: str = answer.json()["sha256"]
    return digest


def code_of(response: httpx2.Response) -> tuple[int, str]:
    return response.status_code, response.json()["type"].rpartition(":")[2]


async def test_a_program_too_long_for_json_is_sent_and_checked_by_its_digest(
    http: httpx2.AsyncClient,
) -> None:
    assert len(LONG) > 1_000_000
    refused = await http.post("/check", json={"text": LONG})
    assert code_of(refused) == (422, "program-too-large")
    digest = await sent(http, LONG)
    assert digest == hashlib.sha256(LONG.encode()).hexdigest()
    for path, has in (("/check", "moves"), ("/check/curves", "time_s")):
        answer = await http.post(path, json={"sent": digest})
        assert answer.status_code == 200
        assert answer.json()[has]


async def test_the_text_that_was_sent_last_is_the_one_that_is_kept(
    http: httpx2.AsyncClient,
) -> None:
    first, second = await sent(http, "G0 A-5\nM2\n"), await sent(http, "M2\n")
    gone = await http.post("/check", json={"sent": first})
    assert code_of(gone) == (409, "text-gone")
    assert (await http.post("/check", json={"sent": second})).json()["ok"]
    both = await http.post("/check", json={"sent": second, "text": "M2\n"})
    assert code_of(both) == (422, "invalid")


@pytest.mark.parametrize(
    ("body", "status", "code", "says"),
    [
        (b"\n" * (MAX_LONG_LINES + 1), 422, "program-too-large", "1000001 lines"),
        (b"\r" * (MAX_LONG_LINES + 1), 422, "program-too-large", "1000001 lines"),
        (b"\r\n" * MAX_LONG_LINES + b"M2", 422, "program-too-large", "1000001 lines"),
        (b" " * (MAX_LONG_BYTES + 1), 413, "too-large", "32000000 bytes"),
        (b"G0 A1\n\xff\n", 422, "text-unclear", "byte 7, on line 2"),
    ],
)
async def test_what_is_no_program_of_a_possible_length_is_refused_with_its_limit(
    http: httpx2.AsyncClient, body: bytes, status: int, code: str, says: str
) -> None:
    response = await http.post("/texts", content=body)
    assert code_of(response) == (status, code)
    assert says in response.json()["detail"]


@pytest.mark.parametrize(
    "body", [b"\n" * MAX_LONG_LINES, b"\r\n" * MAX_LONG_LINES, b"\n" * (MAX_LONG_LINES - 1) + b"M2"]
)
async def test_a_program_of_as_many_lines_as_may_be_is_taken(
    http: httpx2.AsyncClient, body: bytes
) -> None:
    assert (await http.post("/texts", content=body)).status_code == 201


async def test_of_long_texts_one_comes_at_a_time_and_short_ones_all_the_same(
    http: httpx2.AsyncClient,
) -> None:
    begun, go_on = asyncio.Event(), asyncio.Event()

    async def slowly() -> AsyncIterator[bytes]:
        yield b"(" + b"x" * MAX_BODY_BYTES + b")\n"
        begun.set()
        await go_on.wait()
        yield b"M2\n"

    first = asyncio.create_task(http.post("/texts", content=slowly()))
    await begun.wait()
    second = await http.post("/texts", content=b"M2\n" * MAX_BODY_BYTES)
    assert code_of(second) == (503, "busy")
    assert second.headers["retry-after"]
    assert second.headers["connection"] == "close"
    await sent(http, "M2\n")
    go_on.set()
    assert (await first).status_code == 201
    await sent(http, LONG)
