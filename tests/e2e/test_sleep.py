"""A laptop whose lid was closed, and a coordinator that stood still: all joints come back without
a restart, and nothing moves unless somebody asks for it.
"""

import signal
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.harness import Bench, program, until

pytestmark = pytest.mark.joints

ASLEEP = """
import sys, time
from pathlib import Path
real, slept = time.clock_gettime_ns, Path({slept!r})

def read(clock):
    ns = int(slept.read_text()) if clock == time.CLOCK_BOOTTIME and slept.exists() else 0
    return real(clock) + ns

time.clock_gettime_ns = read
from coordinator.cli import main
sys.argv[0] = "unisono"
main()
"""
"""A coordinator for which time since boot jumps when a file says so: what a sleep looks like."""
FAR = program(150, feed=900)


def all_rest(bench: Bench) -> bool:
    """Whether no joint moves, as all of them say themselves."""
    return all(
        joint["velocity_deg_s"] == 0 and joint["state"] not in ("moving", "ramping", "homing")
        for joint in bench.states().values()
    )


def homed_and_moving(bench: Bench) -> None:
    bench.until_linked()
    bench.home()
    bench.play(FAR)
    bench.until_moving()


def begun(bench: Bench) -> list[dict[str, Any]]:
    """What truly began to move so far, homing aside."""
    return [*bench.truths("start"), *bench.truths("resume")]


def test_a_coordinator_that_stood_still_finds_its_joints_at_rest_and_moves_none(
    bench: Bench,
) -> None:
    bench.simulate()
    coordinator = bench.serve()
    homed_and_moving(bench)
    starts = len(begun(bench))
    coordinator.popen.send_signal(signal.SIGSTOP)
    held = bench.until_truth("hold", *bench.joints)
    coordinator.popen.send_signal(signal.SIGCONT)
    bench.until_linked()
    until(lambda: bench.arm_now()["phase"] == "held", "the run held")
    assert max(one["path_us"] for one in held) - min(one["path_us"] for one in held) <= 100_000
    assert all_rest(bench)
    assert len(begun(bench)) == starts
    bench.ask("resume")
    bench.until_truth("resume", *bench.joints)


def test_after_a_sleep_all_joints_are_back_in_a_new_session_and_rest(
    bench: Bench, tmp_path: Path
) -> None:
    slept = tmp_path / "slept"
    bench.simulate()
    coordinator = bench.serve(wrapper=("-c", ASLEEP.format(slept=str(slept))))
    homed_and_moving(bench)
    before, starts = bench.arm_now()["session"], len(begun(bench))
    coordinator.popen.send_signal(signal.SIGSTOP)
    bench.until_truth("hold", *bench.joints)
    slept.write_text(str(3600 * 10**9))
    coordinator.popen.send_signal(signal.SIGCONT)
    until(lambda: bench.arm_now()["session"] != before, "a new session")
    bench.until_linked()
    until(
        lambda: all(
            joint["clock"]["locked"] and joint["homed"] for joint in bench.states().values()
        ),
        "all clocks known and all joints homed",
    )
    assert all_rest(bench)
    assert bench.arm_now()["run"] is None
    assert len(begun(bench)) == starts
    bench.play(FAR)
    bench.until_moving()
