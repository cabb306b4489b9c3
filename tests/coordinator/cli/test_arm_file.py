"""`unisono arm`: an arm file begun from what is there, and what is said where nothing is."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from coordinator.cable import conversation
from coordinator.cli.common import ExitCode
from coordinator.config.settings import DEMO_ARM
from coordinator.core.events import Found
from coordinator.links import looking
from protocol.discovery import Announcement
from tests.coordinator.cable.boards import board, cable, usual
from tests.coordinator.cli.here import Unisono, unisono_here

BOARD = "02000000bb01"


@pytest.fixture(name="unisono")
def command(capsys: pytest.CaptureFixture[str]) -> Unisono:
    return unisono_here(capsys)


Announce = Callable[..., None]


@pytest.fixture(name="announce")
def announced(monkeypatch: pytest.MonkeyPatch) -> Announce:
    """Have these ids be announced, each as its host in the order of asking."""
    there: list[Found] = []

    async def heard(interface: str, service_type: str) -> tuple[Found, ...]:
        return tuple(there)

    def announce(*ids: str) -> None:
        there.extend(
            Found(f"joint-{k}", f"10.0.0.{k + 2}", 8000, Announcement(one, "0.1.0", 8001))
            for k, one in enumerate(ids)
        )

    monkeypatch.setattr(looking, "joints_there", heard)
    monkeypatch.setattr(conversation, "ANSWER_S", 0.3)
    return announce


def test_joints_that_announce_themselves_become_an_arm_to_be_filled_in(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    announce("3c71bf4a0001", "3c71bf4a0002")
    file = tmp_path / "arm.toml"
    done = unisono("arm", "new", str(file))
    assert done.code == ExitCode.DONE, done.err
    text = file.read_text(encoding="utf-8")
    assert "# announced at 10.0.0.2:8000 with firmware 0.1.0\n" in text
    told = re.findall(r"fill in arm\.toml:(\d+): (.*)", done.out)
    line = next(k for k, one in enumerate(text.splitlines(), 1) if one.startswith("gear_ratio"))
    assert (str(line), "joint joint1: gear_ratio is 0, but must be 0.1 to 1000") in told

    checked = unisono("arm", "check", str(file))
    assert checked.code == ExitCode.WRONG_INPUT
    assert [line.removeprefix("unisono: arm.toml:") for line in checked.err.splitlines()] == [
        f"{line}: {sentence}" for line, sentence in told
    ]


def test_json_tells_the_joints_and_what_is_to_be_filled_in(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    announce("3c71bf4a0001")
    done = unisono("arm", "new", str(tmp_path / "a.toml"), "--json")
    told = json.loads(done.out)
    assert [one["id"] for one in told["joints"]] == ["3c71bf4a0001"]
    assert told["remarks"] == []
    assert {"message": "joint joint1: direction is 0, but must be 1 or -1", "column": None} in [
        {key: one[key] for key in ("message", "column")} for one in told["to_fill_in"]
    ]


def test_a_board_on_its_cable_is_taken_with_its_id_and_the_caution_is_told(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    announce("3c71bf4a0001")
    file = tmp_path / "arm.toml"
    with cable(board(usual)) as port:
        done = unisono("arm", "new", str(file), "--port", str(port))
        assert done.code == ExitCode.DONE, done.err
        assert "support a raised arm" in done.err
        assert f"{BOARD}, at {port}, does not announce itself on 127.0.0.1" in done.err
    ids = re.findall(r'^id = "(.*)"', file.read_text("utf-8"), re.MULTILINE)
    assert ids == [BOARD, "3c71bf4a0001"]


def test_a_silent_cable_is_told_and_nothing_is_written(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    file = tmp_path / "arm.toml"
    with cable(lambda data: b"") as port:
        done = unisono("arm", "new", str(file), "--port", str(port))
    assert (done.code, file.exists()) == (ExitCode.UNREACHABLE, False)
    assert "nothing answers" in done.err


def test_where_nobody_is_found_that_is_said_and_no_file_is_begun(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    file = tmp_path / "arm.toml"
    done = unisono("arm", "new", str(file), "--json")
    assert (done.code, file.exists()) == (ExitCode.NOT_FINISHED, False)
    assert "nobody announces a joint on 127.0.0.1" in done.err
    assert "no joint was found" in done.errors[0]["message"]


def test_more_joints_than_an_arm_may_have_begin_none(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    announce(*(f"3c71bf4a{k:04x}" for k in range(13)))
    done = unisono("arm", "new", str(tmp_path / "arm.toml"))
    assert done.code == ExitCode.NOT_FINISHED
    assert "13 joints were found, and an arm has at most 12" in done.err


def test_one_id_at_two_places_is_said(unisono: Unisono, announce: Announce, tmp_path: Path) -> None:
    announce("3c71bf4a0001", "3c71bf4a0001")
    done = unisono("arm", "new", str(tmp_path / "arm.toml"))
    assert "3c71bf4a0001 is announced at 10.0.0.2:8000 and 10.0.0.3:8000" in done.err
    assert done.out.count("3c71bf4a0001") == 1


def test_a_file_that_is_there_is_left_as_it_is(
    unisono: Unisono, announce: Announce, tmp_path: Path
) -> None:
    announce("3c71bf4a0001")
    file, link = tmp_path / "arm.toml", tmp_path / "link.toml"
    file.write_text("mine\n", encoding="utf-8")
    link.symlink_to(tmp_path / "nowhere.toml")
    for one in (file, link, tmp_path):
        done = unisono("arm", "new", str(one))
        assert done.code == ExitCode.WRONG_INPUT
        assert "is there already, and is left as it is" in done.err
    assert file.read_text("utf-8") == "mine\n"
    assert not (tmp_path / "nowhere.toml").exists()
    done = unisono("arm", "new", str(tmp_path / "no" / "arm.toml"))
    assert (done.code, (tmp_path / "no").exists()) == (ExitCode.WRONG_INPUT, False)


def test_an_arm_file_without_mistakes_is_said_to_be_one(unisono: Unisono) -> None:
    done = unisono("arm", "check", str(DEMO_ARM))
    assert (done.code, done.err) == (ExitCode.DONE, "")
    assert "bench arm with turntable, shoulder" in done.out
    told = json.loads(unisono("arm", "check", str(DEMO_ARM), "--json").out)
    assert told["ok"] is True
    assert told["remarks"] == []
