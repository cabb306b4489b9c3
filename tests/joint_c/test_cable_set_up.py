"""`unisono joint` with a board in C: from bare to announced and proved, and what may be wrong."""

import contextlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from coordinator.cable import came_up, set_up
from coordinator.cable.errors import Trouble
from coordinator.cli import joint
from coordinator.cli.command import run
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from tests.coordinator.cable.boards import cable
from tests.joint_c.bare import ID, PASSWORD, SSID, Bench, Board


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of what is waited for in vain here, as of a board whose network never comes up."""
    monkeypatch.setattr(set_up, "JOIN_S", 0.5)
    monkeypatch.setattr(set_up, "POLL_S", 0.01)


@pytest.fixture(name="bench")
def bench_of_a_board(joint_build: Path, tmp_path: Path) -> Bench:
    make_key(tmp_path / "data")
    (tmp_path / "arm.toml").write_text(arm_text(ID))
    return Bench(joint_build, tmp_path)


def arm_text(first: str) -> str:
    """The demo arm, whose first joint has that id."""
    lines = DEMO_ARM.read_text("utf-8").splitlines()
    place = next(k for k, line in enumerate(lines) if line.startswith("id = "))
    lines[place] = f'id = "{first}"'
    return "\n".join(lines) + "\n"


class Command:
    """The command line, with what a person types at a board."""

    def __init__(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        self.folder, self._monkeypatch, self._capsys = folder, monkeypatch, capsys
        self.said = ""
        self.errors = ""

    def __call__(self, *words: str, typed: str = "") -> int:
        data = io.BytesIO(typed.encode("utf-8", "surrogateescape"))
        self._monkeypatch.setattr("sys.stdin", io.TextIOWrapper(data, "utf-8"))
        code = run(["joint", *words])
        self.said, self.errors = self._capsys.readouterr()
        return code

    def set_up(self, board: Board, *words: str, typed: str = PASSWORD + "\n") -> int:
        options = ["--arm", "arm.toml", "--data", "data", "--interface", "127.0.0.1"]
        options = [str(self.folder / w) if w in {"arm.toml", "data"} else w for w in options]
        if "--ssid" not in words:
            options += ["--ssid", SSID]
        return self("set-up", str(board.port), *options, *words, typed=typed)

    def shown(self, board: Board) -> dict[str, Any]:
        assert self("show", str(board.port), "--json") == 0
        found: dict[str, Any] = json.loads(self.said)
        return found


@pytest.fixture(name="command")
def command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    return Command(tmp_path, monkeypatch, capsys)


def told(command: Command, board: Board) -> tuple[bool, str, str]:
    joint = command.shown(board)["joint"]
    return joint["has_key"], joint["ssid"], joint["name"]


BARE = (False, "", "")


def test_bare_board_becomes_a_joint_that_proves_the_key(bench: Bench, command: Command) -> None:
    with bench.board(joint=True) as board:
        assert told(command, board) == BARE
        assert command.set_up(board) == 0, command.errors
        assert command.said.splitlines()[2:7] == [
            "the key is set",
            f"the network is set: {SSID}",
            "the name is set: turntable",
            "it has restarted",
            f"it is on {SSID} at 127.0.0.1, -50 dBm",
        ]
        assert "turntable announces itself and proves the arm's key at 127.0.0.1:" in command.said
        for caution in ("Caution: moving joints pinch", "mains", "support a raised arm"):
            assert caution in command.said
        assert command.shown(board)["network"]["state"] == "connected"

        assert command.set_up(board, "--json") == 0  # once more does no harm
        found = json.loads(command.said)
        assert found["ok"] is True
        assert found["joint"]["id"] == ID
        assert found["network"]["address"] == "127.0.0.1"


def test_neither_key_nor_password_is_told_anywhere(bench: Bench, command: Command) -> None:
    key = (bench.folder / "data" / "arm.key").read_text().strip()
    with bench.board("--no-address", "1") as board:
        assert command.set_up(board) == 1
        texts = [command.said, command.errors]
        command("show", str(board.port))
        texts += [command.said, command.errors]
        words = Path(f"/proc/{board.process.pid}/cmdline").read_bytes().decode()
    for text in texts:
        assert key not in text
        assert PASSWORD not in text
    assert key not in words


def test_board_of_another_arm_is_left_as_it_was(bench: Bench, command: Command) -> None:
    with bench.board(joint=True) as board:
        assert command.set_up(board) == 0
        (bench.folder / "data").rename(bench.folder / "old")
        make_key(bench.folder / "data")
        assert command.set_up(board, "--ssid", "elsewhere") == 3
        assert "it has the key of another arm" in command.errors
        assert told(command, board) == (True, SSID, "turntable")

        assert command("forget", str(board.port), "--id", "02000000bc99") == 2
        assert f"the board at {board.port} has the id {ID}" in command.errors
        assert told(command, board) == (True, SSID, "turntable")

        assert command("forget", str(board.port), "--id", ID, "--json") == 0
        assert json.loads(command.said) == {"ok": True, "id": ID}
        assert told(command, board) == BARE
        assert command.set_up(board) == 0, command.errors


@pytest.mark.parametrize(
    ("options", "words", "typed", "sentence"),
    [
        ((), ("--ssid", "elsewhere"), PASSWORD, "no network of that name is in its reach"),
        ((), (), "pricking in", "the network refuses the password"),
        (("--no-address", "1"), (), PASSWORD, "which gives it no address"),
    ],
)
def test_network_that_does_not_come_up_is_told_with_why(
    bench: Bench,
    command: Command,
    options: tuple[str, ...],
    words: tuple[str, ...],
    typed: str,
    sentence: str,
) -> None:
    with bench.board(*options) as board:
        assert command.set_up(board, *words, "--json", typed=typed) == 1
    assert sentence in command.errors
    assert json.loads(command.said)["ok"] is False


def test_joint_that_is_not_announced_is_told(
    bench: Bench, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(came_up, "ANNOUNCED_S", 0.5)
    with bench.board() as board:
        assert command.set_up(board) == 1
    assert "127.0.0.1 hears no announcement of it" in command.errors


def test_joint_that_does_not_prove_the_key_is_told(
    bench: Bench, command: Command, tmp_path: Path
) -> None:
    """Another one of the same id answers in its place."""
    other = Bench(bench.build, tmp_path / "other")
    other.folder.mkdir()
    make_key(other.folder / "data")
    (other.folder / "arm.toml").write_text(arm_text(ID))
    with other.board(joint=True) as stranger, bench.board() as board:
        elsewhere = Command(other.folder, command._monkeypatch, command._capsys)
        assert elsewhere.set_up(stranger) == 0, elsewhere.errors
        assert command.set_up(board) == 1
    assert "does not prove the arm's key" in command.errors


def test_board_that_no_joint_of_the_arm_has_is_told_what_to_write(
    bench: Bench, command: Command
) -> None:
    (bench.folder / "arm.toml").write_text(arm_text("02000000bc77"))
    with bench.board() as board:
        assert command.set_up(board) == 2
        assert f'write id = "{ID}" into the joint' in command.errors
        assert told(command, board) == BARE


@pytest.mark.parametrize(
    ("words", "typed", "sentence"),
    [
        ((), "short\n", "has 5 characters"),
        ((), "", "there is no password on the input"),
        ((), "pass\udcffword\n", "the password is no text in UTF-8"),
        (("--ssid", "s" * 33), "pricking out\n", "1 to 32 bytes, this one 33"),
    ],
)
def test_wrong_input_sets_nothing(
    bench: Bench, command: Command, words: tuple[str, ...], typed: str, sentence: str
) -> None:
    with bench.board() as board:
        assert command.set_up(board, *words, typed=typed) == 2
        assert sentence in command.errors
        assert told(command, board) == BARE


def test_drivers_that_are_on_are_a_refusal(bench: Bench, command: Command) -> None:
    with bench.board("--drivers-on", "1") as board:
        assert command.set_up(board) == 3
        assert "a raised arm would fall" in command.errors
        assert told(command, board) == BARE


def test_missing_key_is_told_before_the_board_is_asked(bench: Bench, command: Command) -> None:
    (bench.folder / "data" / "arm.key").unlink()
    assert command.set_up(Board(Path("/dev/null"), None)) == 2  # type: ignore[arg-type]
    assert "there is no key in" in command.errors


def test_password_that_is_typed_at_a_terminal_is_not_shown(bench: Bench, command: Command) -> None:
    """A terminal shows what is typed until it is told not to. The network takes another one."""
    near, far = os.openpty()
    with bench.board("--air-password", "another one") as board:
        words = ["setsid", "--ctty", sys.executable, "-m", "coordinator.cli", "joint", "set-up"]
        words += [str(board.port), "--interface", "127.0.0.1", "--ssid", SSID]
        words += ["--arm", str(bench.folder / "arm.toml"), "--data", str(bench.folder / "data")]
        process = subprocess.Popen(words, stdin=far, stdout=far, stderr=far)
        os.close(far)
        shown = b""
        while b"(empty for an open network): " not in shown:
            shown += os.read(near, 4096)
        os.write(near, PASSWORD.encode() + b"\n")
        with contextlib.suppress(OSError):  # it hangs up at its end
            while piece := os.read(near, 4096):
                shown += piece
        assert process.wait() == 1
        os.close(near)
        assert b"the network refuses the password" in shown
        assert PASSWORD.encode() not in shown
        assert told(command, board) == (True, SSID, "turntable")


def test_board_that_does_not_come_back_is_told(
    bench: Bench, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(set_up, "RESTART_S", 0.2)
    with bench.board() as board:
        monkeypatch.setattr(set_up, "_ask_to_restart", lambda conversation: board.pull())
        assert command.set_up(board) == 4
    assert "did not come back after its restart" in command.errors


# Without a board in C


def test_every_trouble_has_an_exit_code() -> None:
    assert set(joint._CODES) == set(Trouble)


@pytest.mark.parametrize("words", [("show",), ("forget", "--id", ID)])
def test_port_that_is_none_is_wrong_input(tmp_path: Path, command: Command, words: Any) -> None:
    assert command(*words, str(tmp_path / "ttyACM9"), "--json") == 2
    assert json.loads(command.said)["errors"][0]["message"].startswith("there is no ")


def test_port_that_another_program_uses_is_a_refusal(command: Command) -> None:
    from coordinator.cable.port import Port

    with cable(lambda data: b"") as path, Port(path):
        assert command("show", str(path)) == 3
    assert "another program is using" in command.errors


def test_something_else_that_answers_is_unreachable(command: Command) -> None:
    with cable(lambda data: b"login: ") as path:
        assert command("show", str(path)) == 4
    assert "not as a joint does" in command.errors


def test_ports_are_listed_also_where_there_are_none(command: Command) -> None:
    assert command("list", "--json") == 0
    assert isinstance(json.loads(command.said)["ports"], list)
    assert command("list") == 0


def test_flashing_needs_an_image_and_a_supply_that_is_cut(
    tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.coordinator.cable.images import merged

    image = tmp_path / "image.bin"
    assert command("flash", os.devnull, str(image)) == 2
    assert f"{image} cannot be read" in command.errors
    image.write_bytes(b"\x7fELF")
    assert command("flash", os.devnull, str(image)) == 2
    assert "no merged firmware image" in command.errors
    image.write_bytes(merged())
    assert command("flash", os.devnull, str(image)) == 2
    assert "cut the motor's supply first" in command.errors
    assert command("flash", os.devnull, str(image), "--supply-off") == 2
    assert "no serial port" in command.errors
    monkeypatch.setitem(__import__("sys").modules, "esptool", None)
    assert command("flash", os.devnull, str(image), "--supply-off") == 2
    assert "pip install 'unisono[cable]'" in command.errors


def test_board_that_answers_no_flashing_is_told(tmp_path: Path, command: Command) -> None:
    """By the maker's library itself, whose requests nobody answers."""
    from tests.coordinator.cable.images import merged

    (tmp_path / "image.bin").write_bytes(merged())
    with cable(lambda data: b"") as path:
        assert command("flash", str(path), str(tmp_path / "image.bin"), "--supply-off") == 1
    assert "was not flashed whole" in command.errors
