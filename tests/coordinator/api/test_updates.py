"""A signed image as a request's body: what is refused before a joint is asked anything."""

import hashlib

import httpx2
import pytest

from coordinator.core.updating.signed import MAX_SIGNED_BYTES
from protocol.image import ImageHeader, encode_header

IMAGE = b"pricking out " * 400


def file(image: bytes = IMAGE, board: str = "bench-joint") -> bytes:
    """A signed image, by nobody's key."""
    header = ImageHeader(board, "1.5.0", len(image), hashlib.sha256(image).digest())
    return encode_header(header) + bytes(64) + image


def verdict(answer: httpx2.Response) -> tuple[int, str]:
    return answer.status_code, answer.json()["type"].removeprefix("urn:unisono:problem:")


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        (b"", "the file is no signed image: it has 0 bytes, a header alone 100; "),
        (b"\x7fELF" + bytes(9000), "the file is no signed image (the header of an image begins "),
        (file()[:-1], "the file is cut: it has 5363 bytes, by its header 5364"),
        (file()[:120], "the file is cut: it has 120 bytes, by its header 5364"),
        (file() + b"\n", "the file is too long: it has 5365 bytes, by its header 5364"),
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
