"""Ctrl-C and lost clients while a program is still being checked and planned.

The coordinator is made to sleep meanwhile, so that each of these surely comes before its answer.
"""

import signal
import subprocess
import sys
from pathlib import Path

from tests.e2e.harness import Bench, Process, program, until

LONG = "".join(f"G0 A{-150 + k % 90} B{-150 + k % 30}\n" for k in range(2_000)) + "M2\n"
"""Planning it takes longer than noticing that whoever asked has gone, and it is small enough to
wait whole in a socket's buffer."""


def bytes_waiting(bench: Bench) -> int:
    """What the coordinator has been sent and has not read yet (proc(5): /proc/net/tcp)."""
    port = f":{int(bench.url.rpartition(':')[2]):04X}"
    lines = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    # Of the listening socket the same column counts connections.
    return sum(int(line[4].partition(":")[2], 16) for line in lines if line[1].endswith(port))


CLIENT = """
import pathlib, sys
from coordinator.client import Client
Client(sys.argv[1]).play("long.nc", pathlib.Path(sys.argv[2]).read_text())
"""
"""A client that plays a program without asking first whether anybody answers, as `run` does."""


def sleeping(bench: Bench) -> Process:
    """The coordinator of a homed arm, that sleeps."""
    bench.simulate()
    coordinator = bench.serve()
    bench.until_linked()
    bench.home()
    coordinator.popen.send_signal(signal.SIGSTOP)
    return coordinator


def test_ctrl_c_before_a_run_has_its_number_holds_it_and_leaves_no_traceback(
    bench: Bench,
) -> None:
    coordinator = sleeping(bench)
    run = bench.play(program(-80, feed=900))
    until(lambda: bytes_waiting(bench) > 0, "the first question")
    run.popen.send_signal(signal.SIGINT)
    coordinator.popen.send_signal(signal.SIGCONT)

    assert run.popen.wait(30) == 1
    assert "Traceback" not in run.errors()
    assert "unisono: run 1 " in run.errors().splitlines()[-1]
    assert bench.ask("report")["outcome"] in ("stopped", "held")
    assert bench.truths("start") == []


def test_client_that_left_before_its_program_was_planned_moves_nothing(bench: Bench) -> None:
    coordinator = sleeping(bench)
    file = bench.folder / "long.nc"
    file.write_text(LONG)
    with subprocess.Popen([sys.executable, "-c", CLIENT, bench.url, str(file)]) as client:
        until(lambda: bytes_waiting(bench) > len(LONG), "the request to play")
        client.kill()
    coordinator.popen.send_signal(signal.SIGCONT)

    until(lambda: "has left" in coordinator.errors(), "the program given up")
    assert bench.unisono("report").stderr == "unisono: no program has been played yet\n"
    again = bench.play(program(-150))
    assert again.popen.wait(60) == 0, again.errors()
    assert {line["path_us"] for line in bench.truths("start")} == {0}
    assert bench.ask("report")["run"] == 1
