"""The largest program, checked while the arm moves, costs the arm nothing."""

import httpx2

from coordinator.programs.size import MAX_PROGRAM_BYTES
from tests.e2e.harness import Bench, children, is_running, program, until

LINE = "G0 A-150 B-150 C-150\nG0 A-100 B-110 C-120\n"


def test_largest_program_checked_in_mid_move_holds_nothing_and_leaves_no_process(
    bench: Bench,
) -> None:
    bench.simulate()
    coordinator = bench.serve()
    bench.until_linked()
    bench.home()
    bench.play(program(-60, feed=40))
    bench.until_moving()
    text = LINE * (MAX_PROGRAM_BYTES // len(LINE) - 1) + "M2\n"
    with httpx2.Client(trust_env=False, timeout=240) as client:
        answer = client.post(f"{bench.url}/api/v1/check", json={"text": text})
    checked = answer.json()
    assert checked["ok"]
    assert len(checked["moves"]) == 2 * text.count("A-150")
    # It was in mid-move for all of this, and never held.
    assert bench.arm_now()["run"]["phase"] == "moving"
    report = bench.ask("report")
    assert (report["outcome"], report["holds"]) == ("playing", [])

    started = children(coordinator.pid)
    assert started
    coordinator.kill()
    until(lambda: not any(is_running(pid) for pid in started), "the end of the planner")


def test_a_program_too_long_for_json_is_played_and_recorded(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    text = ("(" + "long " * 45 + ")\n") * 5_000 + program(-155, -150)
    assert len(text) > MAX_PROGRAM_BYTES
    bench.play(text)
    bench.until_moving(1)
    with httpx2.Client(trust_env=False, timeout=60) as client:
        assert client.get(f"{bench.url}/api/v1/runs/1/program").text == text
    until(lambda: bench.ask("report")["outcome"] == "finished", "the end of the run")
