"""What computes the figures of the lag, where they can be told beforehand."""

import math
from unittest.mock import patch

import pytest

from coordinator.core import events as ev
from coordinator.rehearsal.world import World
from tests.bench import lag, lag_table
from tests.bench.lag import Lags, Press
from tests.bench.lag_joints import Eye, Motion
from tests.coordinator.core.kit import S, homed_world, unit

TIP = "tip"
LOOK_US = 2_000


def looked_at(world: World, eye: Eye, for_us: int, velocity_deg_s: float) -> list[float]:
    """Jog for a while; where the joint truly was at each look."""
    places = []
    for k in range(for_us // LOOK_US):
        if velocity_deg_s and k % 20 == 0:
            world.command(ev.Jog({TIP: velocity_deg_s}))
        world.run_for(LOOK_US)
        eye.look(world.now)
        places.append(unit(world, TIP).true_position(world.now)[0])
    return places


def test_a_motion_is_seen_from_its_first_acceleration_to_its_rest() -> None:
    world = homed_world("home")
    world.run_for(1 * S)
    eye = Eye(unit(world, TIP))
    before_us = world.now
    assert len(set(looked_at(world, eye, 100_000, 0.0))) == 1
    went = looked_at(world, eye, 400_000, 12.0)
    assert eye.found == []  # it moves still
    let_go_us = world.now
    world.command(ev.Jog({}))
    stopped = looked_at(world, eye, 1 * S, 0.0)
    ((begin_us, end_us),) = eye.found
    first = next(k for k, place in enumerate(went) if place != went[0])
    asked_us = before_us + 100_000
    assert asked_us < begin_us <= asked_us + (first + 1) * LOOK_US
    assert begin_us > asked_us + (first - 1) * LOOK_US
    last = next(k for k, place in enumerate(stopped) if place == stopped[-1])
    assert end_us == pytest.approx(let_go_us + (last + 0.5) * LOOK_US, abs=LOOK_US)
    # It brakes by v/a = 12/120 s at least (uniform deceleration).
    assert end_us - let_go_us > 100_000


def test_a_step_ends_where_it_stands_not_when_its_jog_is_over_and_the_next_is_another() -> None:
    world = homed_world("none")
    world.run_for(1 * S)
    eye = Eye(unit(world, TIP))
    for for_us in (300_000, 2 * S):
        world.command(ev.Step(TIP, 0.3, 60.0))
        looked_at(world, eye, for_us, 0.0)
    assert not world.core.jogging
    # A move of d without reaching its speed takes 2·√(d/a): here 2·√(0.3/120) = 0.1 s (shared
    # with the other figures of motion: computed).
    took_us = [end_us - begin_us for begin_us, end_us in eye.found]
    assert took_us == [pytest.approx(2e6 * math.sqrt(0.3 / 120), rel=1e-3)] * 2


def press(
    *motions: Motion, pressed_us: float = 1_000.0, let_go_us: float | None = 5_000.0
) -> Press:
    return Press(pressed_us, let_go_us, error_us=10.0, rtt_us=400.0, motions=list(motions))


def test_lag_is_to_the_first_motion_after_the_press_and_to_the_last_rest_after_letting_go() -> None:
    lags = Lags()
    lags.take(press((100.0, 900.0), (1_700.0, 4_000.0), (4_500.0, 5_600.0)))
    assert (lags.begin_us, lags.stand_us) == ([700.0], [600.0])
    lags.take(press((995.0, 5_100.0)))  # no earlier than the clocks may be off
    assert lags.begin_us[1:] == [-5.0]
    assert (lags.unmoved, lags.early) == (0, 0)


def test_what_moved_nothing_or_stood_before_it_was_let_go_is_counted_and_is_no_figure() -> None:
    lags = Lags()
    lags.take(press())
    lags.take(press((100.0, 900.0)))
    assert (lags.unmoved, lags.begin_us) == (2, [])
    lags.take(press((1_700.0, 4_000.0)))
    assert (lags.early, lags.begin_us, lags.stand_us) == (1, [700.0], [])
    lags.take(press((1_800.0, 4_000.0), let_go_us=None))
    assert (lags.early, lags.begin_us) == (1, [700.0, 800.0])


def test_the_tables_have_lag_beside_the_round_trip_and_the_goal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    quick = Lags([8_000.0] * 99 + [60_000.0], [80_000.0] * 100, [4_000.0] * 100, [300.0] * 100)
    slow = Lags([100_000.0] * 10, [], [4_000.0] * 10, [0.0] * 10, unmoved=1)
    with patch.object(lag, "lags", lambda *_: {"key": quick, "touch": slow}):
        lag_table.table(["quiet", "home"], 3, 100, 1)
    rows = [
        [cell.strip() for cell in line.strip("│┃ ").split("│")]
        for line in capsys.readouterr().out.splitlines()
        if line.startswith("│")
    ]
    # 99 of 100: Clopper and Pearson (1934) leave 94.6 to 100 %, computed with scipy.
    assert rows[0] == [
        "quiet", "key", "100", "8.0", "8.0", "60.0", "4.0", "2.0", "99.0 %", "94.6 to 100 %",
        "≥ 95 %", "met, not proved", "0",
    ]  # fmt: skip
    assert rows[1][:3] == ["quiet", "touch", "11"]
    assert rows[1][8:] == ["0.0 %", "0 to 28.5 %", "≥ 95 %", "missed", "1"]
    assert rows[2][10:12] == ["–", "–"]
    # 0.15 · 60 °/s at 120 °/s² is 75 ms of braking, so 5 ms are left: 1.25 round trips.
    assert rows[4] == [
        "quiet", "key", "100", "80.0", "80.0", "80.0", "75.0", "4.0", "1.2", "0", "0.3",
    ]  # fmt: skip
    assert [row[:2] for row in rows[4:]] == [["quiet", "key"], ["home", "key"]]
