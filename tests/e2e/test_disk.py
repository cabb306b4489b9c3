"""Real processes and a disk that fails: what is confirmed is kept, and a failing disk moves nothing
and stops nothing.

A file size limit (setrlimit(2)) that is set on the running coordinator stands in for the disk.
"""

import json
import resource
import sqlite3
from contextlib import closing
from typing import Any

import httpx2

from tests.e2e.harness import Bench, Process, program, until

UNLIMITED = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)


def ready(bench: Bench) -> None:
    bench.until_linked()
    bench.home()


def disk_takes_no_more(bench: Bench, coordinator: Process) -> None:
    size = (bench.data / "unisono.db-wal").stat().st_size
    resource.prlimit(coordinator.pid, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))


def stored(bench: Bench, query: str) -> list[tuple[Any, ...]]:
    """What the database holds now, read from outside."""
    with closing(sqlite3.connect(bench.data / "unisono.db")) as database:
        return database.execute(query).fetchall()


def test_disk_that_fails_in_mid_run_stops_no_run_and_lets_no_other_begin(bench: Bench) -> None:
    bench.simulate()
    coordinator = bench.serve()
    ready(bench)
    run = bench.play(program(-100, feed=300))
    bench.until_moving()
    until(lambda: json.loads(stored(bench, "SELECT report FROM runs")[0][0])["start"], "proof")
    disk_takes_no_more(bench, coordinator)
    bench.ask("override", "80")
    assert run.popen.wait(90) == 0, run.errors()

    report = bench.ask("report", "1")
    assert report["outcome"] == "finished"
    lost = {one["what"]: one["why"] for one in report["unwritten"]}
    assert {"report", "event command-override"} <= lost.keys()
    for why in lost.values():
        assert why.startswith(f"{bench.data / 'unisono.db'} cannot be used: its disk fails")
    shown = bench.unisono("report", "1")
    assert "not in the database: report" in shown.stdout

    before = len(bench.truths())
    refused = bench.unisono("run", str(bench.folder / "program.nc"))
    assert refused.returncode == 3
    (line,) = refused.stderr.splitlines()
    assert line.startswith(f"unisono: {bench.data / 'unisono.db'} cannot be used: its disk fails")
    assert not [line for line in bench.truths()[before:] if line["event"] in ("start", "resume")]

    resource.prlimit(coordinator.pid, resource.RLIMIT_FSIZE, UNLIMITED)
    again = bench.play(program(-150))
    assert again.popen.wait(90) == 0, again.errors()
    # What the disk did not take of the first run but what was an event is there now.
    assert stored(bench, "SELECT number, outcome FROM runs") == [(1, "finished"), (2, "finished")]
    kept = json.loads(stored(bench, "SELECT report FROM runs WHERE number = 1")[0][0])
    assert "event command-override" in [one["what"] for one in kept["unwritten"]]
    assert "report" not in [one["what"] for one in kept["unwritten"]]
    assert stored(bench, "SELECT program FROM runs WHERE number = 2") == [(program(-150),)]


def test_what_was_done_is_told_by_the_next_coordinator(bench: Bench) -> None:
    bench.simulate()
    coordinator = bench.serve()
    ready(bench)
    with httpx2.Client(base_url=f"{bench.url}/api/v1", trust_env=False) as page:
        for velocity in (2.0, 2.0, 3.0, 0.0):
            answer = page.post("/jog", json={"velocities_deg_s": {"elbow": velocity}})
            assert answer.status_code == 200, answer.text
        edges = page.get("/homings/1").json()
    until(lambda: stored(bench, "SELECT 1 FROM events WHERE code = 'command-jog'"), "the jog")
    coordinator.kill()

    bench.serve()
    with httpx2.Client(base_url=f"{bench.url}/api/v1", trust_env=False) as page:
        told = page.get("/homings/1").json()
        events = page.get("/events", params={"limit": 500, "details": True}).json()["events"]
    assert told == edges
    assert all(told["joints"][name]["edges"] for name in bench.joints)
    commands = [one for one in reversed(events) if one["code"].startswith("command-")]
    assert [(one["message"], one["joint"]) for one in commands] == [
        ("home all joints, homing 1", None),
        ("jog elbow at 2 °/s", "elbow"),  # told once, however often it is renewed
    ]
    assert commands[1]["who"] == "a script"
    assert {one["joint"] for one in events if one["code"] == "homed"} == set(bench.joints)
    bench.until_linked()
    bench.ask("home", "elbow")
    both = [(1, "done"), (2, "done")]  # it is written after it is told
    until(lambda: stored(bench, "SELECT number, state FROM homings") == both, "both homings done")


def test_damaged_database_is_one_line_and_exit_code_2(bench: Bench) -> None:
    (bench.data / "unisono.db").write_bytes(bytes(range(256)) * 20)
    done = bench.unisono("serve", "--arm", str(bench.arm), "--data", str(bench.data), "--port", "0")
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith(f"unisono: {bench.data / 'unisono.db'} cannot be used: it is damaged")
