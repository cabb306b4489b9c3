"""Makes checks one after another, each from a session of its own, and says what came of them."""

import asyncio
from collections.abc import Callable, Sequence
from typing import Final

from coordinator.codes.os_words import os_words
from coordinator.conform.bench import Bench, Target
from coordinator.conform.check import Blocked, Check, Lost, NotMade, Outcome, Result, Wrong

CHECK_S: Final = 240.0
"""Far beyond any check; one that hangs is no reason to wait for ever."""
GIVE_UP: Final = 3
"""Checks in a row at which nobody was there: the rest is not tried."""
NO_MOVES: Final = "it may move the motor; --moves was not given"


class Unstopped(Exception):
    """The checks were interrupted, and it is not known whether the joint stopped."""


async def run_checks(
    target: Target, checks: Sequence[Check], tell: Callable[[Result], None]
) -> list[Result]:
    """What comes of each check; `tell` gets it at once.

    Where it is cancelled the joint is stopped first. Raises Unstopped where that is not certain.
    """
    results: list[Result] = []
    lost = 0
    async with Bench(target) as bench:
        try:
            for check in checks:
                if check.moves and not target.may_move:
                    found = _result(check, Outcome.NOT_MADE, why=NO_MOVES)
                elif lost >= GIVE_UP:
                    why = "the joint was lost before"
                    found = _result(check, Outcome.NOT_MADE, why=why, is_blocked=True)
                else:
                    found, is_there = await _make(check, bench)
                    lost = 0 if is_there else lost + 1
                results.append(found)
                tell(found)
        except asyncio.CancelledError:
            sentence = await bench.stop()
            if sentence is not None:
                raise Unstopped(sentence) from None
            raise
    return results


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
        return _result(check, Outcome.NOT_MADE, why=os_words(error), is_blocked=True), False
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
    return Result(check.id, check.section, check.sentence, outcome, expected, came, why, is_blocked)
