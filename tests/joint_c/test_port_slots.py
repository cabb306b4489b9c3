"""Where a microcontroller keeps firmware that comes, on a flash memory that a test makes.

The port's own `slots.c` and `store.c` run; the loader, its record and the store are imitated by the
SDK's documents (deploy/joint/esp-idf/tests/flash.c).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.joint_c.lines import Lines

SIZE, SECTOR, NOTE_EVERY = 150_001, 4096, 65_536
BRING = ("begin 1", "write 40000", "begin 1", f"write {SIZE}", "read", "install")
UPDATE = ("on", *BRING, "on", "confirm", "on")
BACK = tuple(line.replace("begin 1", "begin 2") for line in UPDATE)
"""The next update, into the partition from which the board was started first."""


@dataclass(frozen=True)
class Started:
    """What the board is when its power has come."""

    program: int
    on_trial: bool
    image: int
    """The program whose SHA-256 it says; −1 for none."""
    has_keys: bool


class Board(Lines):
    """Its partitions, its loader and its store."""

    def on(self) -> Started:
        program, on_trial, image, has_keys = map(int, self.line("on").split())
        return Started(program, on_trial == 1, image, has_keys == 1)

    def play(self, *lines: str) -> bool:
        """Whether the power went meanwhile."""
        return any(self.line(line) == "off" for line in lines)

    def require(self, *lines: str) -> None:
        for line in lines:
            word = self.line(line).split()[0]
            wrong = ("off", "no") if line.startswith(("on", "begin")) else ("off", "0")
            assert word not in wrong, line

    def bring(self, program: int) -> None:
        """All of one, to its confirmation."""
        self.require(f"begin {program}", f"write {SIZE}", "read", "install")
        assert self.on() == Started(program, True, program, True)
        self.require("confirm")
        assert self.on() == Started(program, False, program, True)


@pytest.fixture(name="board")
def board_from_the_cable(joint_build: Path) -> Iterator[Board]:
    program = Board(joint_build / "slots")
    assert program.line("blank") == "1"
    yield program
    assert program.end() == 0


def test_an_update_is_tried_once_and_confirmed_in_turn_in_both_partitions(board: Board) -> None:
    assert board.on() == Started(0, False, -1, True)
    for program in (1, 2, 1):
        board.bring(program)


def steps_of(board: Board, *lines: str) -> int:
    board.line("cut 0")
    assert not board.play(*lines)
    return int(board.line("cut 0"))


@pytest.mark.parametrize("how", ["cut", "pull"])
@pytest.mark.parametrize(("old", "new"), [(0, 1), (1, 2)], ids=["first", "second"])
def test_power_that_goes_at_any_write_leaves_the_old_or_the_new_firmware_and_the_keys(
    board: Board, old: int, new: int, how: str
) -> None:
    update = UPDATE if old == 0 else BACK

    def fresh() -> None:
        board.line("blank")
        if old:
            board.require(*UPDATE)

    fresh()
    count = steps_of(board, *update)
    found = set()
    for cut in range(1, count + 1):
        fresh()
        board.line(f"{how} {cut}")
        assert board.play(*update), cut
        board.line("cut 0")
        started = board.on()
        assert started.has_keys, cut
        assert started.image == (started.program or -1), cut
        found.add((started.program, started.on_trial))
        if started.on_trial:
            assert started.program == new, cut
            board.require("confirm")
        else:
            assert started.program == old, cut
            kept = int(board.line(f"begin {new}"))
            assert 0 <= kept <= SIZE, cut
            assert board.line("read")[0] == "1", cut  # what is said to be kept is what came
            board.require(f"write {SIZE}", "read", "install", "on", "confirm")
        assert board.on() == Started(new, False, new, True), cut
    # Half a write of the loader's record leaves none: then it starts the one before.
    assert found == {(old, False)} | ({(new, True)} if how == "pull" else set())
    assert count > 100


def test_what_is_noted_behind_a_block_is_kept_and_no_more(board: Board) -> None:
    board.on()
    board.require("begin 1", f"write {NOTE_EVERY + 3 * SECTOR}")
    board.on()
    assert board.line("begin 1") == str(NOTE_EVERY)
    assert board.line("read")[0] == "1"


def test_what_came_is_noted_to_the_byte_when_the_image_is_announced_again(board: Board) -> None:
    board.on()
    board.require("begin 1", "write 5001")
    assert board.line("begin 1") == "5001"
    board.on()
    assert board.line("begin 1") == "5001"
    board.require(f"write {SIZE}", "read", "install")
    assert board.on().program == 1


def test_of_another_image_nothing_is_kept(board: Board) -> None:
    board.on()
    board.require("begin 1", f"write {SIZE}")
    assert board.line("begin 2") == "0"
    assert board.line("begin 2") == "0"
    board.on()
    assert board.line("begin 1") == "0"
    assert board.line("begin 2") == "0"


def test_one_that_was_tried_and_not_confirmed_gives_way_and_begins_at_nothing(
    board: Board,
) -> None:
    board.on()
    board.require(*BRING)
    assert board.on() == Started(1, True, 1, True)
    assert board.on() == Started(0, False, -1, True)
    assert board.line("begin 1") == "0"
    board.require(f"write {SIZE}", "read", "install")
    assert board.on() == Started(1, True, 1, True)


def test_what_is_dropped_is_kept_by_no_restart(board: Board) -> None:
    board.on()
    board.require("begin 1", f"write {SIZE}", "begin 1", "drop")
    assert board.line("begin 1") == "0"
    board.require(f"write {NOTE_EVERY}", "drop")
    board.on()
    assert board.line("begin 1") == "0"


def test_no_frame_erases_more_than_one_sector(board: Board) -> None:
    board.on()
    board.line("begin 1")
    assert board.line(f"write {SIZE}") == "1 1"


def test_others_run_while_a_whole_image_is_read_within_one_call(board: Board) -> None:
    """The watchdog waits for the least urgent task too, whose turn comes while the joint waits."""
    board.on()
    board.require("begin 1", f"write {SIZE}")
    assert board.line("read") == f"1 {SIZE // NOTE_EVERY}"


def test_a_write_that_fails_may_come_again(board: Board) -> None:
    board.on()
    for failing in range(1, 40):
        board.line("begin 1")
        board.line(f"fail {failing}")
        assert board.line(f"write {SIZE}").split()[0] == "0"
        board.line("fail 0")
        board.require(f"write {SIZE}", "read", "drop")


def test_an_image_that_no_loader_starts_is_not_installed(board: Board) -> None:
    board.on()
    board.require("begin 3", f"write {SIZE}", "read")
    assert board.line("install") == "0"
    assert board.on() == Started(0, False, -1, True)
    board.bring(1)


def test_a_confirmation_that_fails_is_none_however_often_it_is_asked_for(board: Board) -> None:
    board.on()
    board.require(*BRING)
    board.on()
    board.line("fail 2")  # its record is erased, and not written
    assert board.line("confirm") == "0"
    board.line("fail 0")
    assert board.line("confirm") == "0"
    assert board.on() == Started(0, False, -1, True)
    assert board.line("begin 1") == "0"


def test_what_the_loader_starts_next_is_not_written_over(board: Board) -> None:
    board.on()
    board.require(*BRING)
    assert board.line("begin 2") == "no"
    assert board.on() == Started(1, True, 1, True)
