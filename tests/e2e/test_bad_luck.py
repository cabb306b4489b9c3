"""What bad luck gets: nothing moves that was not permitted, and the rest comes to rest.

Bounds by design sections 4 to 6 (I2, I3): at rest within permit plus ramp, at path times no more
than the permit's window apart. The permit reaches 0.5 to 1 s ahead, the window is the worst link
delay, but not under 100 ms nor above 400 ms: 100 ms on a quiet network.
"""

import json
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from protocol.ramp import Ramp
from tests.e2e.harness import Bench, Process, program, start_skew_us, until

WINDOW_US = 100_000, 400_000
HORIZON_US = 1_000_000
RAMP = Ramp.for_ratio(60 / 120)
REST_US = HORIZON_US + RAMP.duration_us
"""Longest from the last word of the coordinator to rest: the permit, then the ramp."""


def ready(bench: Bench) -> None:
    bench.until_linked()
    bench.home()


def stored(bench: Bench, run: int) -> Any:
    """What the database holds of a run now, read from outside."""
    with closing(sqlite3.connect(bench.data / "unisono.db")) as database:
        found = database.execute("SELECT report FROM runs WHERE number = ?", (run,)).fetchone()
    return json.loads(found[0])


def window_us(bench: Bench, run: int) -> int:
    """How far apart the permits of a run's joints may be.

    By the worst link delay when it started or now, whichever is more: a permit is not lowered
    when the worst link delay falls.
    """
    start = until(lambda: stored(bench, run)["start"], f"the start of run {run}")
    links = [*start["joints"].values(), *bench.states().values()]
    worst_delay_us: list[int] = [link["worst_delay_us"] for link in links]
    least, most = WINDOW_US
    return min(max(least, *worst_delay_us), most)


def killed_at_us(process: Process) -> float:
    """Kill a process; when that was, in true time, not before it was dead."""
    process.kill()
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) / 1000


def assert_rest(
    rests: list[dict[str, Any]], killed_us: float, longest_us: float, apart: int
) -> None:
    paths = [line["path_us"] for line in rests]
    assert max(paths) - min(paths) <= apart
    for line in rests:
        assert 0 < line["at_ns"] / 1000 - killed_us <= longest_us, line["joint"]


@pytest.mark.joints("c")
def test_killed_joint_lets_the_rest_hold_and_moves_only_after_homing(bench: Bench) -> None:
    bench.simulate("turntable", "shoulder")
    elbow = bench.simulate("elbow")
    bench.serve()
    ready(bench)
    run = bench.play(program(-60, feed=900))
    bench.until_moving()
    before = len(bench.truths())
    apart = window_us(bench, 1)
    killed_us = killed_at_us(elbow)

    rests = bench.until_truth("hold", "turntable", "shoulder", since=before)
    # Permits reach no further than a window past the last one that the dead joint reported.
    assert_rest(rests, killed_us, REST_US + apart, apart)
    assert run.popen.wait(30) == 1
    assert run.errors().startswith("unisono: run 1 is held; not known: elbow is offline: ")
    assert " by its own rules at rest " in run.errors()
    assert "it cannot be resumed as it is: elbow is offline" in run.errors()
    assert "'unisono stop' ends the run" in run.errors()
    assert "path time of elbow not known" in bench.unisono("report").stdout

    bench.simulate("elbow", seed=2)
    bench.until_joint("elbow", link="up", homed=False, state="unhomed")
    report = until(lambda: (r := bench.newest_report()) and r["ended_at_us"] and r, "the end")
    assert report["outcome"] == "lost"
    assert "elbow" in report["message"]
    refused = bench.unisono("resume")
    assert refused.returncode == 3
    assert "run 1 ended: elbow restarted" in refused.stderr
    assert not [line for line in bench.truths()[before:] if line["event"] in ("start", "resume")]

    refused = bench.unisono("run", str(bench.folder / "program.nc"))
    assert refused.returncode == 3
    assert refused.stderr == "unisono: elbow is not homed; home it first\n"
    bench.ask("home", "elbow")
    done = bench.play(program(-150, -140))
    assert done.popen.wait(60) == 0, done.errors()


@pytest.mark.joints("mixed")
def test_killed_coordinator_leaves_all_at_rest_together_and_its_heir_moves_nothing(
    bench: Bench,
) -> None:
    bench.simulate()
    coordinator = bench.serve()
    ready(bench)
    run = bench.play(program(-60, feed=900))
    bench.until_moving()
    # The proof of the start is in the database while the arm still moves.
    until(lambda: (start := stored(bench, 1)["start"]) and start["start_skew_max_us"], "proof")
    before = len(bench.truths())
    apart = window_us(bench, 1)
    killed_us = killed_at_us(coordinator)
    assert run.popen.wait(30) == 4  # not reachable

    rests = bench.until_truth("hold", *bench.joints, since=before)
    assert_rest(rests, killed_us, REST_US, apart)

    bench.serve()
    bench.until_linked()
    for name in bench.joints:
        bench.until_joint(name, state="ready", homed=True)
    report = bench.ask("report", "1")
    assert report["outcome"] == "lost"
    assert "coordinator" in report["message"]
    assert start_skew_us(bench.truths("start")) <= report["start"]["start_skew_max_us"]
    assert not [line for line in bench.truths()[before:] if line["event"] in ("start", "resume")]

    again = bench.play(program(-150))
    assert again.popen.wait(60) == 0, again.errors()
    assert bench.ask("report")["run"] == 2


def test_wall_clock_set_back_an_hour_changes_nothing(bench: Bench) -> None:
    # Its own Python: every way to the wall clock goes back an hour once the marker is there.
    marker = bench.folder / "an_hour_back"
    wrapper = bench.folder / "clock_set_back.py"
    wrapper.write_text(WALL_CLOCK.format(marker=str(marker)))
    bench.simulate(wrapper=(str(wrapper),))
    bench.serve(wrapper=(str(wrapper),))
    ready(bench)
    run = bench.play(program(-100, feed=900))
    bench.until_moving()
    marker.touch()
    assert run.popen.wait(60) == 0, run.errors()

    report = bench.ask("report")
    assert report["outcome"] == "finished"
    assert report["holds"] == []
    assert start_skew_us(bench.truths("start")) <= report["start"]["start_skew_max_us"]
    # The clock was set back indeed: the run ended an hour before it began.
    kept = stored(bench, report["run"])
    real = datetime.now(UTC)
    for told, hours in (("began_utc", 0), ("ended_utc", 1), ("written_utc", 1)):
        off = real - datetime.fromisoformat(kept[told]) - timedelta(hours=hours)
        assert abs(off) < timedelta(minutes=5), told
    assert {key: report[key] for key in ("began_utc", "ended_utc")}.items() <= kept.items()


WALL_CLOCK = """
import datetime, os, sys, time

real_time, real_ns, real_clock = time.time, time.time_ns, time.clock_gettime
real_clock_ns, real_datetime = time.clock_gettime_ns, datetime.datetime


def back_s():
    return 3600 if os.path.exists({marker!r}) else 0


time.time = lambda: real_time() - back_s()
time.time_ns = lambda: real_ns() - back_s() * 10**9
time.clock_gettime = lambda which: real_clock(which) - (
    back_s() if which == time.CLOCK_REALTIME else 0
)
time.clock_gettime_ns = lambda which: real_clock_ns(which) - (
    back_s() * 10**9 if which == time.CLOCK_REALTIME else 0
)


class Datetime(real_datetime):
    @classmethod
    def now(cls, tz=None):
        return real_datetime.now(tz) - datetime.timedelta(seconds=back_s())


datetime.datetime = Datetime
from coordinator.cli import main

if __name__ == "__main__":  # not again in processes that are spawned
    main()
"""


def test_second_coordinator_is_told_who_has_the_arm(bench: Bench) -> None:
    first = bench.serve()
    second = bench.unisono("serve", "--arm", str(bench.arm), "--data", str(bench.data))
    assert second.returncode == 2
    assert f"process {first.pid}" in second.stderr
    assert len(second.stderr.splitlines()) == 1
    assert Path(bench.data / "lock").read_text().strip() == str(first.pid)
