"""Makes checks one after another, each from a session of its own, and says what came of them."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress
from typing import Final

from coordinator.conform.bench import Bench, Target
from coordinator.conform.check import Blocked, Check, Lost, NotMade, Outcome, Result, Wrong

CHECK_S: Final = 240.0
"""Far beyond any check; one that hangs is no reason to wait for ever."""
GIVE_UP: Final = 3
"""Checks in a row at which nobody was there: the rest is not tried."""
NO_MOVES: Final = "it may move the motor; --moves was not given"


async def run_checks(target: Target, checks: Sequence[Check]) -> AsyncIterator[Result]:
    """What comes of each check, as it is made. Left early, the joint is stopped first."""
    lost, done = 0, False
    async with Bench(target) as bench:
        try:
            for check in checks:
                if check.moves and not target.may_move:
                    yield _result(check, Outcome.NOT_MADE, why=NO_MOVES)
                elif lost >= GIVE_UP:
                    yield _result(
                        check, Outcome.NOT_MADE, why="the joint was lost before", is_blocked=True
                    )
                else:
                    found, is_there = await _make(check, bench)
                    lost = 0 if is_there else lost + 1
                    yield found
            done = True
        finally:
            if not done:
                sentence = await bench.stop()
                if sentence is not None:
                    raise Lost(sentence)


async def _make(check: Check, bench: Bench) -> tuple[Result, bool]:
    """What came of a check, and whether anybody was there."""
    try:
        async with asyncio.timeout(CHECK_S):
            await bench.fresh()
            await check.make(bench)
    except Wrong as error:
        found = _result(check, Outcome.FAIL, expected=error.expected, came=error.came)
        return found, True
    except NotMade as error:
        return _result(check, Outcome.NOT_MADE, why=str(error)), True
    except Blocked as error:
        return _result(check, Outcome.NOT_MADE, why=str(error), is_blocked=True), True
    except (Lost, OSError) as error:
        return _result(check, Outcome.NOT_MADE, why=str(error), is_blocked=True), False
    except TimeoutError:
        found = _result(
            check, Outcome.FAIL, expected="an end of the check", came=f"none in {CHECK_S:g} s"
        )
        return found, True
    return _result(check, Outcome.PASS), True


def _result(
    check: Check,
    outcome: Outcome,
    *,
    expected: str = "",
    came: str = "",
    why: str = "",
    is_blocked: bool = False,
) -> Result:
    return Result(
        check.id, check.section, check.sentence, outcome, expected, came, why, is_blocked
    )


async def let_go(results: AsyncIterator[Result]) -> None:
    """End an iteration that is left early, so that the joint is stopped before anything else."""
    with suppress(AttributeError):
        await results.aclose()  # type: ignore[attr-defined]
