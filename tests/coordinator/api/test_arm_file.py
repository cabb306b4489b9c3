"""The arm file by the API: read, looked at, written only whole, valid, at rest and unchanged."""

import asyncio
import hashlib
import os
from collections.abc import AsyncIterator
from pathlib import Path

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.service import Service
from tests.coordinator.api.conftest import BASE

TEXT = DEMO_ARM.read_text(encoding="utf-8")
OTHER = TEXT.replace('name = "bench arm"', 'name = "bench arm"  # by the window')
TYPE = "urn:unisono:problem:"


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.fixture(name="file")
def file_of(tmp_path: Path) -> Path:
    file = tmp_path / "arm.toml"
    file.write_text(TEXT, encoding="utf-8")
    file.chmod(0o640)
    return file


@pytest.fixture(name="own")
async def own_service(tmp_path: Path, file: Path) -> AsyncIterator[Service]:
    make_key(tmp_path / "data")
    service = Service(load_arm(file), tmp_path / "data", "127.0.0.1")
    yield service
    await service.close()


@pytest.fixture(name="client")
async def client_of(own: Service) -> AsyncIterator[httpx2.AsyncClient]:
    transport = httpx2.ASGITransport(create_app(own))
    headers = {"Unisono-Client": "the-owners-page", "Unisono-Client-Name": "the owner"}
    async with httpx2.AsyncClient(transport=transport, base_url=BASE, headers=headers) as client:
        yield client


async def write(
    client: httpx2.AsyncClient, text: str, instead_of: str = TEXT
) -> tuple[int, str, dict[str, object]]:
    answer = await client.put("/arm/file", json={"text": text, "instead_of": digest(instead_of)})
    told = answer.json()
    return answer.status_code, str(told.get("type", "")).removeprefix(TYPE), told


async def test_a_valid_text_is_written_as_it_was_typed_and_used_at_the_next_start(
    client: httpx2.AsyncClient, own: Service, file: Path
) -> None:
    before = (await client.get("/arm/file/now")).json()
    assert (before["text"], before["sha256"], before["in_use"]) == (TEXT, digest(TEXT), True)
    looked = (await client.post("/arm/file/check", json={"text": OTHER})).json()
    assert [(one["added"], one["text"]) for one in looked["changes"]] == [
        (False, 'name = "bench arm"'),
        (True, 'name = "bench arm"  # by the window'),
    ]
    assert file.read_text("utf-8") == TEXT
    status, _, told = await write(client, OTHER)
    assert (status, told["in_use"], told["sha256"]) == (200, False, digest(OTHER))
    assert file.read_text("utf-8") == OTHER
    assert file.stat().st_mode & 0o777 == 0o640
    assert (await client.get("/arm/file")).text == TEXT  # what runs
    assert load_arm(file).text == OTHER


async def test_a_text_with_mistakes_is_not_written_and_each_has_its_line(
    client: httpx2.AsyncClient, file: Path
) -> None:
    wrong = TEXT.replace("gear_ratio = 15.0", "gear_ratio = 0")
    status, code, told = await write(client, wrong)
    assert (status, code) == (422, "arm-file")
    errors = told["errors"]
    assert isinstance(errors, list)
    lines = [k for k, one in enumerate(wrong.splitlines(), 1) if one == "gear_ratio = 0"]
    assert [one["line"] for one in errors] == lines
    assert errors[0]["message"] == "joint forearm: gear_ratio is 0, but must be 0.1 to 1000"
    assert file.read_text("utf-8") == TEXT


async def test_a_file_that_somebody_changed_meanwhile_is_left_as_it_is(
    client: httpx2.AsyncClient, file: Path
) -> None:
    mine = TEXT + "# by an editor\n"
    file.write_text(mine, encoding="utf-8")
    assert (await write(client, OTHER))[:2] == (409, "arm-file-changed")
    assert file.read_text("utf-8") == mine
    assert (await write(client, OTHER, mine))[0] == 200


async def test_of_two_that_write_at_once_one_is_refused(
    client: httpx2.AsyncClient, file: Path
) -> None:
    done = await asyncio.gather(write(client, OTHER), write(client, OTHER + "# two\n"))
    assert sorted(one[0] for one in done) == [200, 409]


async def test_while_something_moves_nothing_is_written(
    client: httpx2.AsyncClient, own: Service, file: Path
) -> None:
    own.announce("the next entry of the queue")  # the arm starts
    assert own.busy
    assert (await write(client, OTHER))[:2] == (409, "not-at-rest")
    assert file.read_text("utf-8") == TEXT
    own.announce("")
    assert (await write(client, OTHER))[0] == 200


async def test_while_somebody_else_has_control_nothing_is_written(
    client: httpx2.AsyncClient, file: Path
) -> None:
    await client.post("/control/take", headers={"Unisono-Client": "somebody-else-entirely"})
    assert (await write(client, OTHER))[:2] == (409, "control")
    assert file.read_text("utf-8") == TEXT


async def test_line_ends_of_the_file_stay(client: httpx2.AsyncClient, file: Path) -> None:
    ends = TEXT.replace("\n", "\r\n")
    file.write_bytes(ends.encode())
    assert (await write(client, OTHER, ends))[0] == 200
    assert file.read_bytes() == OTHER.replace("\n", "\r\n").encode()


async def test_a_link_stays_one_and_what_it_leads_to_is_written(
    tmp_path: Path, client: httpx2.AsyncClient, file: Path
) -> None:
    real = tmp_path / "kept" / "arm.toml"
    real.parent.mkdir()
    file.rename(real)
    file.symlink_to(real)
    assert (await write(client, OTHER))[0] == 200
    assert file.is_symlink()
    assert real.read_text("utf-8") == OTHER


async def test_a_disk_that_does_not_take_it_leaves_the_old_file_whole(
    client: httpx2.AsyncClient, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    status, code, told = await write(client, OTHER)
    assert (status, code) == (409, "arm-file-disk")
    assert "No space left" in str(told["detail"])
    assert file.read_text("utf-8") == TEXT


@pytest.mark.parametrize("held", [None, b"\xff\xfe"])
async def test_a_file_that_cannot_be_read_is_told(
    client: httpx2.AsyncClient, file: Path, held: bytes | None
) -> None:
    file.unlink() if held is None else file.write_bytes(held)
    answer = await client.get("/arm/file/now")
    assert (answer.status_code, answer.json()["type"]) == (409, TYPE + "arm-file-disk")
    assert (await write(client, OTHER))[:2] == (409, "arm-file-disk")


async def test_the_demo_arm_stays_as_it_is(http: httpx2.AsyncClient) -> None:
    assert "'unisono arm new'" in (await http.get("/arm/file/now")).json()["kept_because"]
    headers = {"Unisono-Client": "somebody-who-edits"}
    body = {"text": OTHER, "instead_of": digest(TEXT)}
    answer = await http.put("/arm/file", json=body, headers=headers)
    assert (answer.status_code, answer.json()["type"]) == (409, TYPE + "arm-file-kept")
    assert DEMO_ARM.read_text("utf-8") == TEXT
