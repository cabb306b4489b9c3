"""`unisono backup` and `unisono restore`: what they ask and tell, and their exit codes."""

import io
import json
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coordinator.backup.make import back_up
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import locked, make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.config.update_key import make_update_key
from tests.coordinator.cli.here import Unisono, unisono_here

PASSPHRASE = "prick out in March"
Typed = Callable[..., None]


@pytest.fixture(name="unisono")
def unisono_of(capsys: pytest.CaptureFixture[str]) -> Unisono:
    return unisono_here(capsys)


@pytest.fixture(name="data")
def data_with_keys(tmp_path: Path) -> Path:
    make_key(tmp_path / "data")
    make_update_key(tmp_path / "data")
    return tmp_path / "data"


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(name="typed")
def typing(monkeypatch: pytest.MonkeyPatch) -> Typed:
    """Have these be typed at a terminal, one for each time that is asked."""

    def typed(*secrets: str) -> None:
        left = list(secrets)
        monkeypatch.setattr("sys.stdin", _Terminal())
        monkeypatch.setattr("getpass.getpass", lambda _prompt: left.pop(0))

    return typed


@pytest.fixture(name="piped")
def piping(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


def words(data: Path, file: Path, *more: str) -> tuple[str, ...]:
    return ("backup", str(file), "--arm", str(DEMO_ARM), "--data", str(data), *more)


def test_key_is_left_out_and_that_is_told(tmp_path: Path, data: Path, unisono: Unisono) -> None:
    done = unisono(*words(data, tmp_path / "a"))
    assert done.code == 0, done.err
    name = load_arm(DEMO_ARM).name
    assert f"{tmp_path / 'a'} has the arm {name!r}: arm.toml, firmware.pub, as of 20" in done.out
    assert "not in it: arm.key, firmware.key" in done.out
    assert "the arm's key is not in it: without arm.key nobody moves the arm" in done.out
    back = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert back.code == 0, back.err
    assert f"the arm's key is not in {tmp_path / 'new'}: put arm.key there" in back.out
    assert f"next: unisono serve --arm {tmp_path / 'new' / 'arm.toml'} --data" in back.out
    assert "Let only one computer command the arm" in back.err
    over = unisono("restore", str(tmp_path / "a"), "--data", str(data), "--replace")
    assert over.code == 0, over.err
    (aside,) = tmp_path.glob("data.aside-*")
    assert f"what {data} had before is in {aside}" in over.out
    assert f"that of before is {aside / 'arm.key'}, if it is the same arm" in over.out


def test_passphrase_is_typed_twice_and_brings_the_keys_back(
    tmp_path: Path, data: Path, unisono: Unisono, typed: Typed
) -> None:
    typed(PASSPHRASE, PASSPHRASE + "!")
    differ = unisono(*words(data, tmp_path / "a", "--with-key"))
    assert (differ.code, differ.err) == (
        2,
        "unisono: the two passphrases differ; nothing was written\n",
    )
    assert not (tmp_path / "a").exists()
    typed(PASSPHRASE, PASSPHRASE)
    done = unisono(*words(data, tmp_path / "a", "--with-key"))
    assert done.code == 0, done.err
    assert "encrypted arm.key, firmware.key" in done.out
    assert "Whoever has this file and the passphrase can move the arm" in done.out
    typed(PASSPHRASE + "!")
    wrong = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert wrong.code == 2
    (line,) = wrong.err.splitlines()
    assert "the passphrase is not the one that the keys in" in line
    assert not (tmp_path / "new").exists()
    typed(PASSPHRASE)
    back = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert back.code == 0, back.err
    for name in ("arm.key", "firmware.key"):
        assert (tmp_path / "new" / name).read_text() == (data / name).read_text()
    for told in (differ, done, wrong, back):
        assert PASSPHRASE not in told.out + told.err


def test_scripts_give_it_on_the_input_and_are_told_in_json(
    tmp_path: Path, data: Path, unisono: Unisono, piped: Callable[[str], None]
) -> None:
    piped(f"{PASSPHRASE}\n")
    done = unisono(*words(data, tmp_path / "a", "--with-key", "--json"))
    told = json.loads(done.out)
    assert {key: told[key] for key in ("ok", "file", "size_bytes", "revision", "left_out")} == {
        "ok": True,
        "file": str(tmp_path / "a"),
        "size_bytes": (tmp_path / "a").stat().st_size,
        "revision": None,
        "left_out": [],
    }
    assert told["sealed"] == ["arm.key", "firmware.key"]
    assert [one["name"] for one in told["members"]] == ["arm.toml", "firmware.pub", "keys.sealed"]
    to = tmp_path / "new"
    piped(f"{PASSPHRASE}\n")
    back = unisono("restore", str(tmp_path / "a"), "--data", str(to), "--json")
    found = json.loads(back.out)
    assert found["keys"] == ["arm.key", "firmware.key"]
    assert (found["data"], found["put_aside"], found["left_behind"]) == (str(to), None, None)
    without = unisono(
        "restore", str(tmp_path / "a"), "--data", str(tmp_path / "b"), "--without-key", "--json"
    )
    assert json.loads(without.out)["keys"] == []


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("", "there is no passphrase on the input"),
        ("\n", "the passphrase has 0 letters, but must have at least 15"),
        ("too short\n", "the passphrase has 9 letters, but must have at least 15"),
    ],
)
def test_passphrase_that_is_none_makes_no_backup(
    tmp_path: Path,
    data: Path,
    unisono: Unisono,
    piped: Callable[[str], None],
    given: str,
    says: str,
) -> None:
    piped(given)
    done = unisono(*words(data, tmp_path / "a", "--with-key"))
    assert done.code == 2
    (line,) = done.err.splitlines()
    assert says in line
    assert not (tmp_path / "a").exists()


def test_mistakes_are_one_line_that_names_the_thing(
    tmp_path: Path, data: Path, unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "taken").write_text("")
    (tmp_path / "empty").mkdir()
    (tmp_path / "keyless").mkdir()
    (tmp_path / "keyless" / "unisono.db").write_bytes(b"")
    (tmp_path / "dangling").mkdir()
    (tmp_path / "dangling" / "arm.toml").symlink_to("nowhere")
    arm = ("--arm", str(DEMO_ARM))
    cases: list[tuple[list[str], str]] = [
        (
            ["backup", "a", "--data", "data"],
            "there is no data/arm.toml: name the arm file by --arm",
        ),
        (["backup", "a", *arm, "--data", "nowhere"], "there is no data folder nowhere"),
        (
            ["backup", "a", *arm, "--data", "empty"],
            "empty is no data folder: it has neither arm.key",
        ),
        (
            ["backup", "taken", *arm, "--data", "data"],
            "taken is there already; a backup writes over",
        ),
        (
            ["backup", "x/a", *arm, "--data", "data"],
            "x/a cannot be written: there is no such folder",
        ),
        (
            ["backup", "data/a", *arm, "--data", "data"],
            "data/a is in data itself, and would be lost",
        ),
        (["backup", "a", "--arm", "taken", "--data", "data"], "lacks name"),
        (["backup", "a", "--arm", "no.toml", "--data", "data"], "no.toml cannot be read"),
        (["backup", "", *arm, "--data", "data"], "FILE is empty, but must name a file"),
        (["backup", "a", *arm, "--data", ""], "--data is empty, but must name a folder"),
        (["restore", "", "--data", "new"], "FILE is empty, but must name a file"),
        (["restore", "a", "--data", "new"], "a cannot be read: No such file or directory"),
        (["restore", "taken", "--data", "new"], "taken is no backup that 'unisono backup' made"),
        (["restore", "empty", "--data", "new"], "empty cannot be read: Is a directory"),
        (["backup", "a", "--data", "dangling"], "there is no dangling/arm.toml: name the arm file"),
    ]
    for asked, says in cases:
        done = unisono(*asked)
        assert (done.code, done.out) == (2, ""), asked
        lines = done.err.splitlines()
        assert says in lines[0], asked
        told = unisono(*asked, "--json")
        assert says in told.errors[0]["message"], asked
    assert {one.name for one in tmp_path.iterdir()} == {
        "data", "taken", "empty", "keyless", "dangling",
    }  # fmt: skip


def test_backup_that_was_made_is_told_as_made_whatever_else_lies_in_the_folder(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    (data / "arm.toml").symlink_to("nowhere")
    (data / "red\x1b[31m").touch()
    (data / os.fsdecode(b"odd\xff")).touch()
    done = unisono(*words(data, tmp_path / "a"))
    assert done.code == 0, done.err
    assert (tmp_path / "a").exists()
    # What a terminal would take for a command is told as what it is.
    assert r"not in it: arm.key, arm.toml, firmware.key, odd\udcff, red\x1b[31m" in done.out


def test_passphrase_that_is_no_text_is_told_and_never_shown(
    tmp_path: Path, data: Path, unisono: Unisono, piped: Callable[[str], None]
) -> None:
    piped("prick out in \udcff March\n")  # as Python gives bytes that are none
    done = unisono(*words(data, tmp_path / "a", "--with-key"))
    assert (done.code, done.err) == (2, "unisono: the passphrase is no text in UTF-8\n")
    assert not (tmp_path / "a").exists()


def test_passphrase_of_a_file_with_other_line_ends_is_the_one_that_is_typed(
    tmp_path: Path, data: Path, unisono: Unisono, piped: Callable[[str], None], typed: Typed
) -> None:
    piped(f"{PASSPHRASE}\r\n")
    assert unisono(*words(data, tmp_path / "a", "--with-key")).code == 0
    typed(PASSPHRASE)
    done = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert done.code == 0, done.err


def test_whose_arm_it_is_is_told_and_that_another_one_was_there(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    before = load_arm(DEMO_ARM).name
    other = tmp_path / "other.toml"
    other.write_text(DEMO_ARM.read_text().replace(f'name = "{before}"', 'name = "greenhouse"'))
    done = unisono("backup", str(tmp_path / "a"), "--arm", str(other), "--data", str(data))
    assert done.out.startswith(f"{tmp_path / 'a'} has the arm 'greenhouse': arm.toml, "), done
    (data / "arm.toml").write_text(DEMO_ARM.read_text())
    over = "restore", str(tmp_path / "a"), "--data", str(data), "--replace"
    back = unisono(*over)
    assert back.out.startswith(f"{data} has the arm 'greenhouse': arm.toml, "), back.out
    assert f"Caution: what {data} had before is another arm's, {before!r}" in back.err
    make_key(data)
    again = unisono(*over)
    assert again.code == 0, again.err
    assert "another arm's" not in again.err


def test_arm_file_that_this_unisono_does_not_read_is_restored_and_that_is_told(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    arm = tmp_path / "arm.toml"
    arm.write_text("name = 'x'\nof_a_newer_one = 1\n")
    back_up(data, arm, tmp_path / "a", None, datetime.now(UTC))
    done = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert done.code == 0, done.err
    assert done.out.startswith(f"{tmp_path / 'new'} has arm.toml, ")
    assert "its arm file is none that this Unisono reads: " in done.err


def test_key_that_is_asked_for_and_not_there_is_told(
    tmp_path: Path, unisono: Unisono, piped: Callable[[str], None]
) -> None:
    (tmp_path / "keyless").mkdir()
    (tmp_path / "keyless" / "unisono.db").write_bytes(b"")
    piped(f"{PASSPHRASE}\n")
    done = unisono(*words(tmp_path / "keyless", tmp_path / "a", "--with-key"))
    assert done.code == 2
    assert "there is no arm.key in" in done.err
    assert not (tmp_path / "a").exists()


def test_arm_file_in_the_data_folder_is_the_one_that_is_meant(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    """As in a folder that was restored: the next backup needs no --arm."""
    text = DEMO_ARM.read_bytes() + b"# mine\n"
    (data / "arm.toml").write_bytes(text)
    assert unisono("backup", str(tmp_path / "a"), "--data", str(data)).code == 0
    assert unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "b")).code == 0
    assert (tmp_path / "b" / "arm.toml").read_bytes() == text


def test_folder_that_is_served_is_backed_up_and_not_restored_over(
    tmp_path: Path, data: Path, unisono: Unisono
) -> None:
    with locked(data):
        assert unisono(*words(data, tmp_path / "a")).code == 0
        done = unisono("restore", str(tmp_path / "a"), "--data", str(data), "--replace")
    assert done.code == 2
    (line,) = done.err.splitlines()
    assert "another coordinator, process" in line


def test_restore_that_is_interrupted_at_its_question_leaves_nothing(
    tmp_path: Path,
    data: Path,
    unisono: Unisono,
    piped: Callable[[str], None],
    typed: Typed,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    piped(f"{PASSPHRASE}\n")
    assert unisono(*words(data, tmp_path / "a", "--with-key")).code == 0
    before = {one.name for one in tmp_path.iterdir()}
    typed()

    def interrupted(_prompt: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("getpass.getpass", interrupted)
    done = unisono("restore", str(tmp_path / "a"), "--data", str(tmp_path / "new"))
    assert (done.code, done.err) == (1, "unisono: interrupted\n")
    assert {one.name for one in tmp_path.iterdir()} == before


def test_neither_takes_a_passphrase_on_the_command_line(unisono: Unisono) -> None:
    for command in ("backup", "restore"):
        assert "--passphrase" not in unisono(command, "--help").out
        assert "--password" not in unisono(command, "--help").out
