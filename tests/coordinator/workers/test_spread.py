"""Work shared out to processes: each result once, none after a cancel, no process left behind."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, ThreadPoolExecutor
from pathlib import Path

import pytest

from coordinator.workers.processes import process_pool
from coordinator.workers.spread import AHEAD, spread

ROOT = Path(__file__).parents[3]
PATIENCE_S = 60.0


def never() -> bool:
    return False


def test_results_of_all_tasks_come_once_each() -> None:
    with process_pool(2) as pool:
        assert sorted(spread(pool, _double, range(7), never)) == [0, 2, 4, 6, 8, 10, 12]


def test_more_tasks_than_are_handed_over_at_a_time_are_all_done() -> None:
    with ThreadPoolExecutor(2) as pool:
        found = list(spread(pool, _double, range(3 * AHEAD), never))
    assert sorted(found) == list(range(0, 6 * AHEAD, 2))


def test_no_more_tasks_are_handed_over_than_are_needed_at_a_time() -> None:
    asked: list[int] = []

    def tasks() -> Iterator[int]:
        for task in range(3 * AHEAD):
            asked.append(task)
            yield task

    with ThreadPoolExecutor(1) as pool:
        results = spread(pool, _double, tasks(), never)
        next(results)
        assert len(asked) == AHEAD
        results.close()  # type: ignore[attr-defined]


def test_no_result_comes_once_it_is_cancelled() -> None:
    cancelled: list[bool] = []
    with process_pool(2) as pool:
        results = spread(pool, _double, range(1_000), lambda: bool(cancelled))
        next(results)
        cancelled.append(True)
        # What had come already is given, nothing is waited for.
        assert len(list(results)) < AHEAD


def test_a_pool_that_is_left_with_work_undone_ends_in_silence() -> None:
    """A thread of its that dies shows as an error of this test."""
    for _ in range(20):
        with process_pool(2) as pool:
            results = spread(pool, _only_the_first_is_quick, range(AHEAD), never)
            assert next(results) == 0
            results.close()  # type: ignore[attr-defined]


def test_what_the_work_raises_is_raised() -> None:
    with process_pool(1) as pool, pytest.raises(ZeroDivisionError):
        list(spread(pool, _inverse, [1, 0], never))


def test_a_process_that_ends_early_is_told_of() -> None:
    with process_pool(2) as pool, pytest.raises(BrokenExecutor):
        list(spread(pool, os._exit, [0, 0], never))


def test_processes_that_work_end_when_their_pool_is_left(tmp_path: Path) -> None:
    with process_pool(2) as pool:
        begun = [tmp_path / "one", tmp_path / "other"]
        for path in begun:
            pool.submit(_begin, path)
        end_s = time.monotonic() + PATIENCE_S
        while not all(path.exists() and path.read_text() for path in begun):
            assert time.monotonic() < end_s
            time.sleep(0.02)
        pids = [int(path.read_text()) for path in begun]
    _await_end(pids)


def test_processes_end_with_the_one_that_started_them_however_it_ends() -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", f"from {__name__} import work_forever; work_forever()"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    with parent.stdout:
        pids = [int(word) for word in parent.stdout.readline().split()]
        assert len(pids) == 2
        parent.kill()
        parent.wait()
        _await_end(pids)


def test_an_interrupt_at_the_keyboard_does_not_reach_them() -> None:
    with process_pool(1) as pool:
        (pid,) = _pids(pool, 1)
        os.kill(pid, signal.SIGINT)
        assert pool.submit(_double, 4).result(PATIENCE_S) == 8


def work_forever() -> None:
    """In a process of its own: prints who works, and goes on."""
    with process_pool(2) as pool:
        pids = _pids(pool)
        for _ in pids:
            pool.submit(time.sleep, 3_600)
        print(*pids, flush=True)  # noqa: T201
        time.sleep(3_600)


def _pids(pool: Executor, count: int = 2) -> list[int]:
    """Who works: asked until all have begun."""
    found: set[int] = set()
    end_s = time.monotonic() + PATIENCE_S
    while len(found) < count and time.monotonic() < end_s:
        found |= {one.result() for one in [pool.submit(_pid, k) for k in range(2 * count)]}
    assert len(found) == count
    return sorted(found)


def _await_end(pids: list[int]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while any(_is_there(pid) for pid in pids):
        assert time.monotonic() < end_s, f"{pids} go on"
        time.sleep(0.02)


def _is_there(pid: int) -> bool:
    try:
        # One that has ended, and that nobody has asked about yet, is a zombie.
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def _pid(_task: int) -> int:
    return os.getpid()


def _only_the_first_is_quick(task: int) -> int:
    if task:
        time.sleep(PATIENCE_S)
    return task


def _begin(path: Path) -> None:
    path.write_text(str(os.getpid()))
    time.sleep(3_600)


def _double(value: int) -> int:
    return 2 * value


def _inverse(value: int) -> float:
    return 1 / value
