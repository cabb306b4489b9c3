"""Rehearsals for whoever asks over the API: one at a time, with progress, to be cancelled."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from coordinator.api.responses.arm import ARM
from coordinator.config.arm import Arm, parse_arm
from coordinator.core.events import Refused
from coordinator.health.heat_peak import peak_c
from coordinator.workers.rehearsals import KEPT, Rehearsals, Wish
from tests.quick_arm import arm_text

PROGRAM = "G0 A-150 B-150\nG0 A-155\nM2\n"


@pytest.fixture(name="arm")
def small_arm() -> Arm:
    return parse_arm(arm_text(2), Path("quick.toml"))


@pytest.fixture(name="rehearsals")
async def closed_at_the_end(arm: Arm) -> AsyncIterator[Rehearsals]:
    kept = Rehearsals(arm)
    yield kept
    await kept.close()


async def ended(kept: Rehearsals, number: int) -> dict[str, Any]:
    """How it went."""
    while True:
        state = kept.state(number)
        assert state is not None
        if state["state"] != "running":
            return state
        await asyncio.sleep(0.05)


async def test_a_rehearsal_says_what_to_expect_and_draws_it(rehearsals: Rehearsals) -> None:
    number = rehearsals.begin(Wish("tray.nc", PROGRAM, "quiet", 2))
    state = await ended(rehearsals, number)
    assert (state["state"], state["done"], state["of"]) == ("done", 2, 2)
    assert state["summary"]["outcomes"] == {"finished": 2}
    assert [joint["name"] for joint in state["joints"]] == ["turntable", "shoulder"]
    picture = await rehearsals.picture(number)
    assert picture is not None
    words = [e.text for e in ET.fromstring(picture).iter() if e.tag.endswith("text")]
    assert "tray.nc on quick arm, network quiet, 2 of 2 rehearsals" in words


async def test_a_rehearsal_tells_how_warm_joints_get_by_what_was_fitted_when_it_was_asked_for(
    rehearsals: Rehearsals,
) -> None:
    told = replace(ARM.joints[0], name="turntable", fan_percent=0)
    assert told.heat is not None
    assert told.temperature_c is not None
    state = await ended(
        rehearsals, rehearsals.begin(Wish("t.nc", PROGRAM, "quiet", 1, told=(told,)))
    )
    longest_s = state["summary"]["duration_us"]["most"] / 1e6
    expected = peak_c(told.temperature_c, told.heat, longest_s, fan_runs=False)
    assert expected is not None
    assert state["highest_temperature_c"] == {"turntable": asdict(expected), "shoulder": None}
    assert state["heat"].startswith(f"highest temperature: turntable {expected.value:.1f} °C")


async def test_one_goes_on_at_a_time_and_can_be_cancelled(rehearsals: Rehearsals) -> None:
    number = rehearsals.begin(Wish("tray.nc", PROGRAM, "quiet", 500))
    with pytest.raises(Refused, match=f"rehearsal {number} goes on"):
        rehearsals.begin(Wish("tray.nc", PROGRAM, "quiet", 1))
    assert await rehearsals.cancel(number)
    state = rehearsals.state(number)
    assert state is not None
    assert state["state"] == "cancelled"
    assert state["done"] < 500
    assert (await ended(rehearsals, rehearsals.begin(Wish("tray.nc", PROGRAM, "quiet", 1))))["done"]


async def test_a_program_that_moves_nothing_fails_with_a_sentence(rehearsals: Rehearsals) -> None:
    state = await ended(rehearsals, rehearsals.begin(Wish("still.nc", "M2\n", "quiet", 1)))
    assert (state["state"], state["message"]) == ("failed", "still.nc moves nothing")
    assert await rehearsals.picture(1) is None


async def test_a_programs_mistakes_are_told_with_their_lines(rehearsals: Rehearsals) -> None:
    state = await ended(rehearsals, rehearsals.begin(Wish("far.nc", "G0 A999\nM2\n", "quiet", 1)))
    assert (state["state"], state["message"]) == ("failed", "the program has mistakes")
    assert state["errors"][0]["line"] == 1


async def test_what_was_never_begun_is_nothing(rehearsals: Rehearsals) -> None:
    assert rehearsals.state(1) is None
    assert not await rehearsals.cancel(1)
    assert KEPT >= 1
