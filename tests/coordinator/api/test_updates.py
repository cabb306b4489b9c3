"""A signed image as a request's body: what is refused before a joint is asked anything."""

import asyncio
from collections.abc import Callable
from dataclasses import asdict

import httpx2
import pytest

from coordinator.api import updates
from coordinator.api.responses.arm import UPDATING
from coordinator.core.machine import Coordinator
from coordinator.core.updating.signed import MAX_SIGNED_BYTES, SignedImage
from coordinator.core.updating.updates import Updates
from coordinator.service import Service
from protocol.image import describe, encode_header

IMAGE = b"pricking out " * 400


def file(image: bytes = IMAGE, board: str = "bench-joint") -> bytes:
    """A signed image, by nobody's key."""
    return encode_header(describe(board, "1.5.0", image)) + bytes(64) + image


def verdict(answer: httpx2.Response) -> tuple[int, str]:
    return answer.status_code, answer.json()["type"].removeprefix("urn:unisono:problem:")


@pytest.fixture(name="limp")
def an_arm_that_could_be_updated(monkeypatch: pytest.MonkeyPatch) -> None:
    """As far as its joints' state goes."""
    monkeypatch.setattr(Coordinator, "require_updatable", lambda core, name, now: core.named(name))


@pytest.mark.usefixtures("limp")
@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        (b"", "the file is no signed image: it has 0 bytes, a header alone 100; "),
        (b"\x7fELF" + bytes(9000), "the file is no signed image: it begins with '\\x7fELF\\x00"),
        (
            file()[:-1],
            "the file is cut, or its header is damaged: it has 5363 bytes, by its header 5364",
        ),
        (
            file()[:120],
            "the file is cut, or its header is damaged: it has 120 bytes, by its header 5364",
        ),
        (
            file() + b"\n",
            "the file is too long, or its header is damaged: it has 5365 bytes, by its header 5364",
        ),
        (file()[:-1] + b"!", "the file is damaged: its image has another SHA-256 than its header"),
    ],
    ids=["nothing", "another", "cut by one", "cut in its head", "a byte more", "a byte other"],
)
async def test_a_file_that_is_no_whole_signed_image_is_told_with_what_is_wrong(
    http: httpx2.AsyncClient, body: bytes, sentence: str
) -> None:
    answer = await http.post("/joints/elbow/update", content=body)
    assert verdict(answer) == (422, "image-unclear")
    assert answer.json()["detail"].startswith(sentence)


@pytest.mark.parametrize(
    ("name", "status", "code"), [("knee", 422, "joint-unknown"), ("elbow", 409, "joint-offline")]
)
async def test_a_joint_that_is_not_there_is_refused(
    http: httpx2.AsyncClient, name: str, status: int, code: str
) -> None:
    answer = await http.post(f"/joints/{name}/update", content=file())
    assert verdict(answer) == (status, code)
    assert (await http.get("/arm")).json()["update"] is None
    assert verdict(await http.get(f"/joints/{name}/update")) == (404, "not-found")


async def test_what_the_arm_is_about_is_told_before_the_file_is_looked_at(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read(name: str, data: bytes) -> None:
        raise AssertionError("the file was read")

    monkeypatch.setattr(updates, "read_signed", read)
    answer = await http.post("/joints/elbow/update", content=file())
    assert verdict(answer) == (409, "joint-offline")


async def test_a_coordinator_that_ends_says_so_before_it_looks_at_joint_or_file(
    service: Service, http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "_ending", True)
    answer = await http.post("/joints/elbow/update", content=b"")
    assert verdict(answer)[1] == "ending"


@pytest.mark.usefixtures("limp")
async def test_control_that_is_taken_over_while_the_file_is_read_ends_it(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def meanwhile(work: Callable[[bytes], SignedImage], body: bytes) -> SignedImage:
        await http.post("/control/take", headers={"Unisono-Client": "somebody-else-entirely"})
        return work(body)

    with monkeypatch.context() as patched:
        patched.setattr(asyncio, "to_thread", meanwhile)
        answer = await http.post("/joints/elbow/update", content=file())
    assert verdict(answer) == (409, "control")


@pytest.mark.usefixtures("limp")
async def test_a_file_that_is_none_gives_nobody_control(http: httpx2.AsyncClient) -> None:
    one = {"Unisono-Client": "somebody-else-entirely"}
    answer = await http.post("/joints/elbow/update", content=b"", headers=one)
    assert verdict(answer) == (422, "image-unclear")
    assert (await http.get("/control")).json()["holder"] is None


async def test_how_an_update_goes_is_told_without_all_else_of_the_arm(
    http: httpx2.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def everything(service: Service) -> None:
        raise AssertionError("the whole arm was looked at")

    monkeypatch.setattr(Updates, "snapshot", lambda updates: UPDATING)
    monkeypatch.setattr(Service, "snapshot", everything)
    assert (await http.get("/joints/elbow/update")).json() == asdict(UPDATING)
    assert verdict(await http.get("/joints/base/update")) == (404, "not-found")


async def test_a_joint_that_the_arm_has_not_is_told_apart_from_one_without_an_update(
    http: httpx2.AsyncClient,
) -> None:
    answer = await http.get("/joints/nope/update")
    assert verdict(answer) == (404, "not-found")
    assert answer.json()["detail"].startswith("there is no joint 'nope'; this arm has ")
    answer = await http.get("/joints/elbow/update")
    assert answer.json()["detail"].startswith("no update of elbow is known")


async def test_what_is_not_under_way_cannot_be_cancelled(http: httpx2.AsyncClient) -> None:
    assert verdict(await http.delete("/joints/elbow/update")) == (409, "no-update")
    assert verdict(await http.delete("/joints/knee/update")) == (422, "joint-unknown")


async def test_more_than_any_image_is_not_read(http: httpx2.AsyncClient) -> None:
    answer = await http.post("/joints/elbow/update", content=bytes(MAX_SIGNED_BYTES + 1))
    assert verdict(answer) == (413, "too-large")
    # Longer than any other body may be, and yet no longer than this one may.
    answer = await http.post("/joints/elbow/update", content=file(bytes(4_000_000)))
    assert verdict(answer) == (409, "joint-offline")
    answer = await http.post("/joints/elbow/homing", content=bytes(4_000_000))
    assert verdict(answer) == (413, "too-large")


async def test_another_client_in_control_is_refused_and_nothing_begins(
    http: httpx2.AsyncClient,
) -> None:
    one = {"Unisono-Client": "somebody-else-entirely"}
    await http.post("/control/take", headers=one)
    answer = await http.post("/joints/elbow/update", content=file())
    assert verdict(answer) == (409, "control")
    assert verdict(await http.delete("/joints/elbow/update")) == (409, "control")
