"""A cable that is pulled, or power that goes, at every byte and at every step on the disk.

What was answered as done is there afterwards; what was under way is there whole or not at all. The
board is killed, which shows what it does in which order, not what its flash does without power.
"""

import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.cable import set_up
from coordinator.cable.conversation import Conversation
from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.port import Port
from coordinator.cable.set_up import Wanted
from protocol.cable import requests
from protocol.cable.frames import Frame, encode
from protocol.cable.requests import Kind, Who
from tests.joint_c.bare import PASSWORD, SSID, Bench
from tests.joint_c.updating import KEY, UPDATE_KEY

WANTED = Wanted(SSID.encode(), PASSWORD, KEY, "elbow")
Told = tuple[bool, bytes, str, bool]
"""Has a key, ssid, name, has the key that signs updates."""
BODIES = (
    (Kind.SET_KEY, KEY),
    (Kind.SET_WIFI, requests.wifi_body(WANTED.ssid, PASSWORD)),
    (Kind.SET_NAME, requests.name_body("elbow")),
    (Kind.SET_UPDATE_KEY, UPDATE_KEY),
    (Kind.FORGET, bytes(4)),
    (Kind.FORGET, bytes(4)),
)
AFTER: tuple[Told, ...] = (
    (False, b"", "", False),
    (True, b"", "", False),
    (True, b"greenhouse", "", False),
    (True, b"greenhouse", "elbow", False),
    (True, b"greenhouse", "elbow", True),
    (True, b"greenhouse", "elbow", True),
    (False, b"", "", False),
)
"""What a board has been told once so many of them were answered."""
BYTES = sum(len(encode(Frame(kind, 0, body))) for kind, body in BODIES)
STEPS = 5 * 7
"""Five things are stored, each in seven steps."""


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(set_up, "RESTART_S", 5.0)
    monkeypatch.setattr(set_up, "POLL_S", 0.01)


@pytest.fixture(name="bench")
def bench_of_a_board(joint_build: Path, tmp_path: Path) -> Bench:
    return Bench(joint_build, tmp_path)


def told(who: Who) -> Told:
    return who.has_key, who.ssid, who.name, who.has_update_key


def tell_all(path: Path) -> int:
    """Everything, one after another; how many were answered before the cable was pulled."""
    answered, sure = 0, 0
    try:
        with Port(path) as port:
            board = Conversation(port)
            for kind, body in BODIES:
                if kind is Kind.FORGET:
                    sure = requests.read_forget(board.ask(kind, requests.forget_body(sure)))
                else:
                    board.do(kind, body)
                answered += 1
    except CableError as error:
        if error.trouble is not Trouble.GONE:
            raise
    return answered


def require_whole(bench: Bench, answered: int) -> None:
    """After power is back: as after what was answered, or that and the one under way."""
    with bench.board() as board:
        found = told(board.who())
        assert found in AFTER[answered : answered + 2]
        if found[0]:
            with Port(board.port) as port:
                Conversation(port).do(Kind.SET_KEY, KEY)  # it is this one, not a part of it
        if found[3]:
            with Port(board.port) as port:
                Conversation(port).do(Kind.SET_UPDATE_KEY, UPDATE_KEY)
    assert [one.name for one in bench.memory.iterdir() if one.name != "board"] == []


@pytest.mark.parametrize("part", range(4))
def test_cable_pulled_at_any_byte_leaves_each_thing_whole_or_not_there(
    joint_build: Path, tmp_path: Path, part: int
) -> None:
    seen = set()
    for cut in range(part, BYTES + 1, 4):
        (tmp_path / str(cut)).mkdir()
        bench = Bench(joint_build, tmp_path / str(cut))
        with bench.board("--cut-bytes", str(cut)) as board:
            answered = tell_all(board.port)
        require_whole(bench, answered)
        seen.add(answered)
    assert seen >= set(range(len(BODIES)))


def test_power_that_goes_at_any_step_on_the_disk_leaves_each_thing_whole_or_not_there(
    joint_build: Path, tmp_path: Path
) -> None:
    seen = []
    for step in range(1, STEPS + 2):
        (tmp_path / str(step)).mkdir()
        bench = Bench(joint_build, tmp_path / str(step))
        with bench.board("--cut-store", str(step)) as board:
            seen.append(tell_all(board.port))
        require_whole(bench, seen[-1])
    # The last of them is beyond all steps: nothing was cut, so every step there is was tried.
    assert seen[-2:] == [5, 6]
    assert set(seen) == {0, 1, 2, 3, 5, 6}


def interrupted(at: int, what: Callable[[], None]) -> Callable[[str], None]:
    left = at

    def tell(line: str) -> None:
        nonlocal left
        left -= 1
        if left == 0:
            what()

    return tell


@pytest.mark.parametrize("step", [1, 2, 3])
def test_board_that_loses_power_between_steps_is_set_up_by_doing_it_again(
    bench: Bench, step: int
) -> None:
    with bench.board() as board, pytest.raises(CableError) as caught:
        set_up.set_up(board.port, WANTED, interrupted(step, board.pull))
    assert caught.value.trouble in {Trouble.GONE, Trouble.NO_PORT}
    with bench.board() as board:
        assert told(board.who()) == AFTER[step]
        assert set_up.set_up(board.port, WANTED, lambda line: None).state == 2
        assert told(board.who()) == AFTER[3]


@pytest.mark.parametrize("step", [1, 2, 3, 4, 5])
def test_computer_that_stops_between_steps_leaves_a_board_that_takes_it_all_again(
    bench: Bench, step: int
) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    with bench.board() as board:
        with pytest.raises(KeyboardInterrupt):
            set_up.set_up(board.port, WANTED, interrupted(step, stop))
        assert told(board.who()) == AFTER[min(step, 3)]
        set_up.set_up(board.port, WANTED, lambda line: None)
        assert told(board.who()) == AFTER[3]


def test_board_whose_log_is_between_its_answers_is_set_up(bench: Bench) -> None:
    with bench.board("--noisy", "1") as board:
        set_up.set_up(board.port, WANTED, lambda line: None)
        assert told(board.who()) == AFTER[3]


def test_memory_is_its_owners_alone(bench: Bench) -> None:
    with bench.board() as board:
        tell_all(board.port)
    assert stat.S_IMODE(bench.memory.stat().st_mode) == 0o700
    assert stat.S_IMODE((bench.memory / "board").stat().st_mode) == 0o600


def test_drivers_that_are_on_let_nothing_be_set(bench: Bench) -> None:
    with bench.board("--drivers-on", "1") as board, Port(board.port) as port:
        found = Conversation(port)
        for kind, body in (*BODIES, (Kind.RESTART, b"")):
            with pytest.raises(CableError, match="its drivers are on"):
                found.ask(kind, body)
        assert told(found.who()) == AFTER[0]


def test_memory_that_cannot_be_written_keeps_what_it_had(bench: Bench) -> None:
    with bench.board() as board:
        with Port(board.port) as port:
            Conversation(port).do(Kind.SET_NAME, requests.name_body("base"))
        (bench.memory / "board.new").mkdir()
        with Port(board.port) as port:
            found = Conversation(port)
            with pytest.raises(CableError, match="could not store it"):
                found.do(Kind.SET_NAME, requests.name_body("elbow"))
            assert found.who().name == "base"
        (bench.memory / "board.new").rmdir()


def test_memory_that_is_damaged_is_told_and_nothing_of_it_used(
    joint_build: Path, tmp_path: Path
) -> None:
    bench = Bench(joint_build, tmp_path)
    with bench.board() as board:
        tell_all(board.port)
    kept = (bench.memory / "board").read_bytes()
    (bench.memory / "board").write_bytes(kept[:-1])
    with (
        pytest.raises(AssertionError, match="holds nothing that was stored here"),
        bench.board(),
    ):
        pass


def test_secrets_are_in_no_text_made_of_what_is_wanted() -> None:
    text = repr(replace(WANTED, key=b"kkkk" * 8))
    assert PASSWORD not in text
    assert "kkkk" not in text
