"""Names that are announced and never explained cost little and hide no joint."""

import asyncio
from itertools import islice

import pytest

from coordinator.links import names as names_module
from coordinator.links.names import ASKED, QUESTIONS, QUESTIONS_PER_S, Budget, Names, pauses_s


async def settle() -> None:
    for _ in range(5):
        await asyncio.sleep(0)


async def test_names_that_nobody_explains_are_few_and_told_of_in_one_line(
    caplog: pytest.LogCaptureFixture,
) -> None:
    asked: list[str] = []

    async def ask(name: str) -> bool:
        asked.append(name)
        if name == "joint":
            return True
        await asyncio.Event().wait()
        return False

    before = len(asyncio.all_tasks())
    names = Names(ask)
    for k in range(1000):
        names.begin(f"stranger {k}")
    await settle()
    assert len(names) == ASKED
    assert len(asyncio.all_tasks()) == before + ASKED
    assert len([one for one in caplog.records if one.name == names_module.__name__]) == 1
    assert f"more than {ASKED}" in caplog.text

    # A joint that comes last is asked for all the same, and is done with.
    names.begin("joint")
    await settle()
    assert asked[-1] == "joint"
    assert len(names) == ASKED - 1
    names.close()
    await settle()
    assert (len(names), len(asyncio.all_tasks())) == (0, before)


async def test_name_that_is_announced_again_is_asked_once_and_one_that_left_no_more() -> None:
    running: list[str] = []

    async def ask(name: str) -> bool:
        running.append(name)
        try:
            await asyncio.Event().wait()
        finally:
            running.remove(name)
        return False

    names = Names(ask)
    for _ in range(3):
        names.begin("elbow")
        await settle()
        assert running == ["elbow"]
    names.end("elbow")
    await settle()
    assert running == []
    names.end("elbow")  # nothing to end


def test_name_is_asked_about_ever_less_often() -> None:
    assert list(islice(pauses_s(), 9)) == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0]


def test_a_flood_of_names_makes_few_questions() -> None:
    budget = Budget()
    asked = sum(budget.take(100.0 + k / 2_000) for k in range(20_000))  # for ten seconds
    assert QUESTIONS <= asked <= QUESTIONS + 10 * QUESTIONS_PER_S + 1
    # When it is over, a name is asked about again.
    assert budget.take(111.0)
