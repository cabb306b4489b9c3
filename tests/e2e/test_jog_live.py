"""`unisono jog` and `unisono go` by keys of a terminal, before software joints on real sockets.

The terminal is a pseudo terminal (pty(7)). The command is started as a shell starts one: in a
process group of its own, which is the terminal's foreground, so that Ctrl-C and Ctrl-Z reach it.
"""

import contextlib
import os
import signal
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx2
import pytest

from coordinator.client import Client
from tests.e2e.harness import Bench, linked_bench, until

RIGHT, LEFT, DOWN, CTRL_C, CTRL_Z = b"\x1b[C", b"\x1b[D", b"\x1b[B", b"\x03", b"\x1a"
SHELL = """
import fcntl, os, signal, subprocess, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
signal.signal(signal.SIGTTOU, signal.SIG_IGN)
job = subprocess.Popen(sys.argv[2:], process_group=0)
os.tcsetpgrp(0, job.pid)
open(sys.argv[1], "w").write(f"{job.pid}\\n")
code = job.wait()
open(sys.argv[1], "a").write(f"{code}\\n")
"""


class Terminal:
    """A pseudo terminal with a command that takes keys in it."""

    def __init__(self, arm: Bench, note: Path, command: str, *arguments: str) -> None:
        self._note = note
        self._main, self._inside = os.openpty()
        os.set_blocking(self._main, False)
        termios.tcsetwinsize(self._inside, (40, 120))
        self.before = self.modes()
        self._said = b""
        self._shell = subprocess.Popen(
            [sys.executable, "-c", SHELL, str(note), sys.executable, "-m", "coordinator.cli",
             command, *arguments, "--url", arm.url],
            stdin=self._inside, stdout=self._inside, stderr=self._inside, start_new_session=True,
        )  # fmt: skip
        until(lambda: len(self._lines()) > 0, "the command begins")
        self.pid = int(self._lines()[0])

    def modes(self) -> list[object]:
        """How the terminal is set."""
        return list(termios.tcgetattr(self._inside))

    def press(self, keys: bytes) -> None:
        os.write(self._main, keys)

    def said(self) -> str:
        """All that was written to the terminal so far."""
        with contextlib.suppress(BlockingIOError):
            while chunk := os.read(self._main, 65536):
                self._said += chunk
        return self._said.decode("utf-8", "replace")

    def until_said(self, text: str) -> None:
        until(lambda: text in self.said(), f"{text!r} on the terminal")

    def state(self) -> str:
        """R, S, T and so on (proc(5))."""
        text = Path(f"/proc/{self.pid}/stat").read_text()
        return text.rpartition(")")[2].split()[0]

    def ended(self) -> int:
        """Wait for the end of the command; its exit code, below zero for a signal."""

        def code() -> list[str]:
            self.said()  # who writes must not wait for a reader
            return self._lines()[1:]

        return int(until(code, "the command ends")[0])

    def close(self) -> None:
        if len(self._lines()) == 1:
            os.kill(self.pid, signal.SIGTERM)
            self.ended()
        self._shell.wait(60)
        os.close(self._main)
        os.close(self._inside)

    def _lines(self) -> list[str]:
        return self._note.read_text().split() if self._note.exists() else []


@pytest.fixture(scope="module")
def arm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Three joints and their coordinator, homed."""
    with linked_bench(tmp_path_factory.mktemp("arm")) as made:
        made.home()
        yield made


Jog = Callable[..., Terminal]


@pytest.fixture
def jog(arm: Bench, tmp_path: Path) -> Iterator[Jog]:
    """Starts the command; it takes keys when this returns."""
    begun: list[Terminal] = []

    def start(*arguments: str, command: str = "jog") -> Terminal:
        terminal = Terminal(arm, tmp_path / f"note-{len(begun)}", command, *arguments)
        begun.append(terminal)
        terminal.until_said("q ends" if command == "jog" else "leaves")
        return terminal

    yield start
    for terminal in begun:
        terminal.close()
    until(lambda: rests(arm) and arm.holder() is None, "at rest, control free")


def angle(arm: Bench, name: str = "turntable") -> float:
    return float(arm.states()[name]["position_deg"])


def rests(arm: Bench) -> bool:
    return str(arm.arm_now()["condition"]["word"]) == "at rest"


def turned_by(
    arm: Bench, terminal: Terminal, key: bytes, name: str = "turntable", by_deg: float = 0.2
) -> None:
    """Keep a key pressed, which repeats, until its joint has turned so far that way."""
    before = angle(arm, name)

    def look() -> bool:
        terminal.press(key)
        terminal.said()
        moved = angle(arm, name) - before
        return moved > by_deg if key == RIGHT else moved < -by_deg

    until(look, f"{name} turns")


def test_a_key_that_repeats_turns_the_chosen_joint_and_one_that_does_not_lets_go(
    arm: Bench, jog: Jog
) -> None:
    terminal = jog()
    # Further than it would come by one wish of the hand, at 9 °/s for the 0.3 s that one lasts.
    turned_by(arm, terminal, RIGHT, by_deg=5.0)
    until(lambda: rests(arm), "at rest")
    assert terminal.state() in "RS"  # nobody ended it
    terminal.press(DOWN)
    still = angle(arm)
    turned_by(arm, terminal, RIGHT, "shoulder")
    until(lambda: rests(arm), "at rest")
    assert angle(arm) == still
    terminal.press(b"q")
    assert terminal.ended() == 0
    assert "control is given back" in terminal.said()
    assert arm.holder() is None
    assert terminal.modes() == terminal.before


def test_the_table_shows_each_joint_and_who_commands(arm: Bench, jog: Jog) -> None:
    terminal = jog("--speed", "fine")
    for word in (*arm.joints, "ready", "nobody commands; speed fine; turns while the key repeats"):
        terminal.until_said(word)
    terminal.until_said(f"{angle(arm, 'elbow'):.2f}")
    terminal.press(b"3")
    terminal.until_said("speed fast")
    terminal.press(b"ss")
    terminal.until_said("turns by 0.1° a press")


def test_steps_end_at_their_sum_and_one_that_is_not_taken_is_told(arm: Bench, jog: Jog) -> None:
    terminal = jog()
    before = angle(arm)
    terminal.press(b"sss")
    terminal.until_said("turns by 1° a press")
    terminal.press(RIGHT * 20)  # as a key that is kept pressed
    terminal.until_said("Not taken: the step before is not done.")
    terminal.until_said(f"{before + 1:.2f}")
    until(lambda: rests(arm) and angle(arm) == pytest.approx(before + 1, abs=0.006), "one step")
    terminal.press(LEFT)
    until(lambda: rests(arm) and angle(arm) == pytest.approx(before, abs=0.006), "one step back")


@pytest.mark.parametrize("key", [b" ", b"x", b"\x1b"])
def test_any_other_key_holds(arm: Bench, jog: Jog, key: bytes) -> None:
    terminal = jog()
    terminal.press(b"ssss")
    terminal.until_said("turns by 10° a press")
    before = angle(arm)
    terminal.press(RIGHT)
    until(lambda: angle(arm) > before, "it turns")
    terminal.press(key)
    terminal.until_said("Hold is asked for.")
    until(lambda: rests(arm), "at rest")
    assert angle(arm) < before + 10
    terminal.press(LEFT)
    until(lambda: angle(arm) < before + 1, "back, and the hold is over")


def test_a_refusal_is_told_with_what_to_do(arm: Bench, jog: Jog) -> None:
    terminal = jog()
    other = {"Unisono-Client": "another-page", "Unisono-Client-Name": "a page"}
    api = f"{arm.url}/api/v1/control"
    httpx2.post(f"{api}/take", headers=other).raise_for_status()
    before = angle(arm)
    terminal.press(RIGHT)
    terminal.until_said("take control first")
    terminal.until_said("'unisono control take' in another terminal")
    assert angle(arm) == before
    httpx2.post(f"{api}/release", headers=other).raise_for_status()


@pytest.mark.parametrize(
    ("end", "code"),
    [(signal.SIGTERM, 1), (signal.SIGHUP, 1), (signal.SIGINT, 1), (signal.SIGKILL, -9)],
)
def test_however_it_ends_the_joint_rests_and_the_terminal_is_as_it_was(
    arm: Bench, jog: Jog, end: signal.Signals, code: int
) -> None:
    terminal = jog()
    assert terminal.modes() != terminal.before
    turned_by(arm, terminal, RIGHT)
    if end is signal.SIGINT:
        terminal.press(CTRL_C)
    else:
        os.kill(terminal.pid, end)
    assert terminal.ended() == code
    until(lambda: rests(arm), "at rest")
    if end is not signal.SIGKILL:
        assert terminal.modes() == terminal.before
        assert f"interrupted ({end.name})" in terminal.said()
        assert arm.holder() is None
    else:  # nobody is there to give it back
        assert arm.unisono("control", "release").returncode == 0
    assert "Traceback" not in terminal.said()


def test_ctrl_z_lets_go_and_gives_the_terminal_back_until_it_is_continued(
    arm: Bench, jog: Jog
) -> None:
    terminal = jog()
    taken = terminal.modes()
    turned_by(arm, terminal, RIGHT)
    terminal.press(CTRL_Z)
    until(lambda: terminal.state() == "T", "stopped")
    assert terminal.modes() == terminal.before
    until(lambda: rests(arm), "at rest")
    terminal.press(RIGHT * 30)  # meant for whoever has the terminal meanwhile
    place = angle(arm)
    os.kill(terminal.pid, signal.SIGCONT)
    until(lambda: terminal.modes() == taken, "taken again")
    shown = len(terminal.said())
    until(lambda: "q ends" in terminal.said()[shown:], "the table again")
    assert angle(arm) == place
    turned_by(arm, terminal, LEFT)
    terminal.press(b"q")
    assert terminal.ended() == 0


def test_keys_of_while_it_stood_still_are_old(arm: Bench, jog: Jog) -> None:
    terminal = jog()
    turned_by(arm, terminal, RIGHT)
    os.kill(terminal.pid, signal.SIGSTOP)
    until(lambda: rests(arm), "the joint rests by itself")
    terminal.press(RIGHT * 30)
    place = angle(arm)
    os.kill(terminal.pid, signal.SIGCONT)
    terminal.press(b"1")
    shown = len(terminal.said())
    until(lambda: "q ends" in terminal.said()[shown:], "the table again")
    assert angle(arm) == place


def test_where_the_coordinator_ends_so_does_it_and_says_so(bench: Bench, tmp_path: Path) -> None:
    bench.simulate()
    coordinator = bench.serve()
    bench.until_linked()
    terminal = Terminal(bench, tmp_path / "note", "jog")
    terminal.until_said("q ends")
    coordinator.kill()
    assert terminal.ended() == 4
    assert "ended the feed" in terminal.said()
    assert "Traceback" not in terminal.said()
    assert terminal.modes() == terminal.before
    terminal.close()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "jog without JOINT and DEGREES takes keys, and needs a terminal"),
        (("--json",), "--json is for a jog of one JOINT by DEGREES"),
        (("elbow",), "by how many DEGREES is elbow to be turned?"),
    ],
)
def test_without_a_terminal_it_says_in_a_line_what_it_needs(
    arm: Bench, arguments: tuple[str, ...], told: str
) -> None:
    done = arm.unisono("jog", *arguments)
    assert done.returncode == 2
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_go_turns_to_the_pose_while_its_key_repeats_and_ends_once_the_arm_is_there(
    arm: Bench, jog: Jog
) -> None:
    jogging = jog()
    turned_by(arm, jogging, RIGHT, by_deg=3.0)
    jogging.press(b"q")
    assert jogging.ended() == 0
    until(lambda: rests(arm) and arm.holder() is None, "at rest")
    terminal = jog("park", command="go")
    begin = angle(arm)

    def has_begun() -> bool:
        terminal.press(b"g")
        terminal.said()
        return angle(arm) < begin - 0.2

    until(has_begun, "it goes")
    until(lambda: rests(arm), "let go, it rests")
    park = arm.arm_now()["poses"]["park"]["turntable"]
    assert angle(arm) > park + 0.02

    def is_there() -> bool:
        if len(terminal._lines()) == 1:
            terminal.press(b"g")
        return "the arm is at pose park" in terminal.said()

    until(is_there, "it is there")
    assert terminal.ended() == 0
    assert angle(arm) == pytest.approx(park, abs=0.01)


def test_go_is_left_by_ctrl_c_and_says_that_the_arm_is_not_there(arm: Bench, jog: Jog) -> None:
    jogging = jog()
    turned_by(arm, jogging, RIGHT)
    jogging.press(b"q")
    assert jogging.ended() == 0
    until(lambda: rests(arm) and arm.holder() is None, "at rest")
    terminal = jog("park", command="go")
    terminal.press(CTRL_C)
    assert terminal.ended() == 1
    assert "left before the arm was at pose park" in terminal.said()


def test_go_back_leads_to_the_line_of_a_run_whose_coordinator_was_killed(
    arm: Bench, jog: Jog
) -> None:
    text = "G90 G94\nG0 A-157 B-157\nG1 A-149 B-149 F60\nM2\n"
    played = arm.play(text)

    def is_in_line_3() -> bool:
        with Client(arm.url) as client:
            number = client.last_run()
            return number is not None and client.report(number).line == 3

    until(is_in_line_3, "line 3")
    until(lambda: angle(arm) > -153.5, "well within line 3, which is told every 2 s")
    arm.processes[1].kill()
    played.popen.wait(60)
    arm.serve()
    arm.until_linked()
    until(lambda: rests(arm), "at rest")
    terminal = jog("--back", command="go")

    def is_there() -> bool:
        if len(terminal._lines()) == 1:
            terminal.press(b"g")
        return "the arm is at line 3 of program.nc" in terminal.said()

    until(is_there, "it is back")
    assert terminal.ended() == 0
    assert angle(arm) == pytest.approx(-157.0, abs=0.01)
    assert "'unisono run FILE --from-line 3' goes on" in terminal.said()


def test_guide_leads_to_each_angle_while_its_key_repeats_and_takes_what_is_typed(
    arm: Bench, jog: Jog, tmp_path: Path
) -> None:
    file = tmp_path / "turntable.csv"
    targets = ("--at", "-150", "--at", "-140", "--at", "-130")
    guided = ("guide", "ratio", "turntable", str(file), *targets)
    terminal = jog(*guided, command="accuracy")
    for reading in range(1, 3 * 2 + 1):

        def asks(times: int = reading) -> bool:
            if terminal.said().count("(q breaks off)") >= times:
                return True
            terminal.press(b"g")
            return False

        until(asks, f"reading {reading}")
        terminal.press(f"{angle(arm):.3f}\n".encode())
    assert terminal.ended() == 0
    of, *lines = file.read_text().splitlines()
    assert of == "# ratio of turntable at -150 -140 -130 deg"
    rows = [line.split(",") for line in lines]
    assert rows[0] == ["commanded_deg", "read_deg"]
    assert [row[0] for row in rows[1:]] == ["-150", "-140", "-130"] * 2
    assert all(abs(float(at) - float(read)) <= 0.01 for at, read in rows[1:])
