"""The planner's process: one program at a time, the same answers as without it, an end."""

import asyncio
import json
import os
import signal
from collections.abc import AsyncIterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from coordinator.config.arm import load_arm
from coordinator.config.settings import DEMO_ARM, DEMO_PROGRAM
from coordinator.core.events import Refused
from coordinator.motion import check_program
from coordinator.motion.edges import EdgesError
from coordinator.motion.feeding import PIECES, Head, needs_of, pieces_of
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import ProgramError, Switches, read_program
from coordinator.programs.loops import ONCE, Loops
from coordinator.programs.progress import Progress, Stage, untold
from coordinator.workers import planner as planner_module
from coordinator.workers.planner import Planner, PlannerBusy
from tests.e2e.harness import children, is_running

ARM = load_arm(DEMO_ARM)
PARK = [joint.to_counts(at) for joint, at in zip(ARM.joints, ARM.poses["park"], strict=True)]
LONG = "".join(f"G0 A{k % 90}\n" for k in range(3_000)) + "M2\n"


@pytest.fixture(name="planner")
async def planner_of_the_demo_arm() -> AsyncIterator[Planner]:
    planner = Planner(ARM)
    yield planner
    await planner.close()


async def test_answers_are_those_of_the_functions_themselves(planner: Planner) -> None:
    text = DEMO_PROGRAM.read_text()
    checked = json.loads(await planner.check(text, None))
    assert checked == json.loads(json.dumps(asdict(check_program(text, ARM))))
    making = await planner.plan(text, PARK)
    assert making is not None
    pieces = [making.outline.first]
    while (piece := await making.more()) is not None:
        pieces.append(piece)
    await making.close()
    parts = plan_text(text, ARM, pose_at(ARM, PARK), ahead=False)
    assert pieces == list(pieces_of(parts))
    assert (making.outline.parts, making.outline.needs) == (len(parts), needs_of(parts))
    assert making.outline.lines == len(text.splitlines())


async def test_the_operators_switches_reach_what_is_planned(planner: Planner) -> None:
    text = "/G2\nG0 A-1\nM1\nA-2\nM2\n"
    on = Switches(block_delete=True, optional_stop=True)
    making = await planner.plan(text, PARK, ONCE, on)
    assert making is not None
    heads = [one.pause_line for one in making.outline.first if isinstance(one, Head)]
    assert heads == [3, None]
    await making.close()
    assert await planner.plan(text, None, ONCE, on) is None
    assert json.loads(await planner.check(text, None, on))["ok"]
    assert (await planner.curves(text, None, on)).begins == "park"
    with pytest.raises(ProgramError):
        await planner.plan(text, None, ONCE, Switches(optional_stop=True))


async def test_edges_that_cannot_be_checked_come_back_by_the_names_of_their_joints(
    planner: Planner,
) -> None:
    loops = Loops(2, None, check_edges=True)
    with pytest.raises(EdgesError, match="the edge of tool cannot be checked"):
        await planner.plan_loops("G0 A1\nM2\n", PARK, loops)


async def test_mistakes_come_back_with_their_lines_even_where_nobody_knows_the_start(
    planner: Planner,
) -> None:
    for start in (None, PARK):
        with pytest.raises(ProgramError) as caught:
            await planner.plan("G0 A1\nG7\nM2\n", start)
        assert [problem.line for problem in caught.value.problems] == [2]
    assert await planner.plan("G0 A1\nM2\n", None) is None


async def test_mistakes_of_words_and_of_range_come_together_as_check_tells_them(
    planner: Planner,
) -> None:
    text = "G0 A1\nG7\nA171\nG1 B1 X2\n"
    told = check_program(text, ARM).errors
    assert [problem.line for problem in told] == [2, 3, 4, 4]
    for start in (None, PARK):
        with pytest.raises(ProgramError) as caught:
            await planner.plan(text, start)
        assert caught.value.problems == told


async def test_one_program_waits_and_more_are_refused_at_once(planner: Planner) -> None:
    first, second = (asyncio.create_task(planner.check(LONG, None)) for _ in range(2))
    await asyncio.sleep(0)
    with pytest.raises(PlannerBusy, match="2 programs"):
        await planner.check("M2\n", None)
    assert await first == await second
    assert json.loads(await planner.check("M2\n", None))["ok"]


async def test_dead_process_refuses_its_program_and_the_next_gets_a_new_one(
    planner: Planner,
) -> None:
    others = set(children(os.getpid()))
    await planner.check("M2\n", None)
    for pid in set(children(os.getpid())) - others:
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes():
            os.kill(pid, signal.SIGSTOP)
            asked = asyncio.create_task(planner.check(LONG, None))
            await asyncio.sleep(0)
            os.kill(pid, signal.SIGKILL)
            with pytest.raises(Refused, match="try again"):
                await asked
    assert json.loads(await planner.check("M2\n", None))["ok"]


async def test_a_check_does_not_delay_the_moves_of_what_is_played(planner: Planner) -> None:
    making = await planner.plan(LONG, PARK)
    assert making is not None
    checked = asyncio.create_task(planner.check(LONG, None))
    await asyncio.sleep(0)
    pieces = [making.outline.first]
    while (piece := await making.more()) is not None:
        pieces.append(piece)
        assert len(piece) <= PIECES + 1
        # The process that checks has to begin and to read all of it first.
        assert not checked.done() or len(pieces) > 2
    await making.close()
    # A head, and all moves but the first one, which leads nowhere.
    assert sum(len(piece) for piece in pieces) == LONG.count("G0")
    assert json.loads(await checked)["ok"]


async def test_the_process_of_a_plan_that_is_given_up_serves_the_next_program(
    planner: Planner,
) -> None:
    making = await planner.plan(LONG, PARK)
    assert making is not None
    started = children(os.getpid())
    await making.close()
    assert json.loads(await planner.check("M2\n", None))["ok"]
    again = await planner.plan("G0 A-5\nM2\n", PARK)
    assert again is not None
    assert len(again.outline.first) == 2
    assert await again.more() is None
    await again.close()
    assert children(os.getpid()) == started


async def test_close_does_not_wait_for_a_program() -> None:
    planner = Planner(ARM)
    await planner.check("M2\n", None)
    started = children(os.getpid())
    asked = asyncio.create_task(planner.check(LONG, None))
    await asyncio.sleep(0)
    await planner.close()
    with pytest.raises(Refused):
        await asked
    spawned = [pid for pid in started if pid not in children(os.getpid())]
    assert spawned
    assert not any(is_running(pid) for pid in spawned)


@pytest.mark.parametrize("played", [Switches(), Switches(from_line=2), Switches(block_delete=True)])
def test_the_way_back_of_what_was_read_last_reads_it_anew_only_with_another_block_delete(
    monkeypatch: pytest.MonkeyPatch, played: Switches
) -> None:
    text, elsewhere = "G0 A-5\nA-10\nB-5\nM2\n", [at + 7 for at in PARK]
    reads: list[bool] = []

    def noted(*arguments: Any, block_delete: bool, tell: Any) -> Any:
        reads.append(block_delete)
        return read_program(*arguments, block_delete=block_delete)

    monkeypatch.setattr(planner_module, "read_program", noted)
    monkeypatch.setattr(planner_module, "_latest", [])
    asked = Switches(from_line=3)
    name = ARM.joints[0].name
    anew = planner_module._way(ARM, text, untold, elsewhere, asked)
    assert isinstance(anew, dict)
    assert list(anew) == [name]
    assert anew[name] == pytest.approx(-10.0)
    assert reads == [False]
    planner_module._read(ARM, text, pose_at(ARM, PARK), played)
    assert planner_module._way(ARM, text, untold, elsewhere, asked) == anew
    assert reads == [False] * (2 if played.block_delete else 1)
    wrong = planner_module._way(ARM, "G2\nM2\n", untold, elsewhere, asked)
    assert isinstance(wrong, list)


LONGER = "".join(f"G0 A{k % 90}\n" for k in range(6_000)) + "M2\n"


async def told_something(seen: list[Progress], asked: asyncio.Task[Any]) -> None:
    """Wait until it was told how far something is that goes on."""
    while not seen:
        assert not asked.done()
        await asyncio.sleep(0.01)


async def test_how_far_a_check_is_is_told_in_order_of_its_stages(
    planner: Planner,
) -> None:
    seen: list[Progress] = []
    await planner.check(LONGER, None, tell=seen.append)
    order = list(Stage)
    assert [one.stage for one in seen] == sorted((one.stage for one in seen), key=order.index)
    assert seen[-1].stage is Stage.PLANNING
    assert all(0 < one.done < one.of for one in seen)
    assert {one.of for one in seen if one.stage is Stage.PLANNING} == {6_000}


async def test_a_check_that_is_cancelled_ends_its_process_and_the_next_is_answered(
    planner: Planner,
) -> None:
    others = set(children(os.getpid()))
    await planner.check("M2\n", None)
    spawned = set(children(os.getpid())) - others
    seen: list[Progress] = []
    asked = asyncio.create_task(planner.check(LONGER, None, tell=seen.append))
    await told_something(seen, asked)
    asked.cancel()
    with pytest.raises(asyncio.CancelledError):
        await asked
    gone = [pid for pid in spawned if not is_running(pid)]
    assert gone, "the process that planned it works on"
    assert json.loads(await planner.check("M2\n", None))["ok"]


async def test_who_waits_for_another_program_is_told_so_and_may_leave(planner: Planner) -> None:
    first: list[Progress] = []
    second: list[Progress] = []
    going = asyncio.create_task(planner.check(LONG, None, tell=first.append))
    await asyncio.sleep(0)
    waiting = asyncio.create_task(planner.check("M2\n", None, tell=second.append))
    await asyncio.sleep(0)
    assert second == [Progress(Stage.WAITING, 0, 0)]
    waiting.cancel()
    with pytest.raises(asyncio.CancelledError):
        await waiting
    third = asyncio.create_task(planner.check("M2\n", None))
    assert json.loads(await going)["ok"], "who left has ended what others wait for"
    assert json.loads(await third)["ok"]


async def test_a_plan_that_is_cancelled_is_not_played_on_by_its_process(planner: Planner) -> None:
    seen: list[Progress] = []
    asked = asyncio.create_task(planner.plan(LONGER, PARK, tell=seen.append))
    await told_something(seen, asked)
    asked.cancel()
    with pytest.raises(asyncio.CancelledError):
        await asked
    making = await planner.plan("G0 A-5\nM2\n", PARK)
    assert making is not None
    assert len(making.outline.first) == 2
    await making.close()
