"""Edges of the Hall window: by hand, and against dense sampling of the same motion."""

import math

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from simulator.physics.hall import HallSensor

SAMPLES = 1000
# Counts within which a sample next to an edge may fall on either side: rounding of floats, whose
# largest here are some 10⁵ counts.
ROUNDING = 1e-6

positions = st.floats(-1000, 1000)
periods = st.none() | st.floats(210, 1000)


def all_edges(
    sensor: HallSensor, p0: float, v: float, a: float, duration_s: float
) -> list[tuple[float, bool]]:
    found = []
    after_s = 0.0
    while (edge := sensor.next_edge(p0, v, a, duration_s, after_s)) is not None:
        assert edge[0] > after_s
        found.append(edge)
        after_s = edge[0]
        assert len(found) < 1000
    return found


@given(
    centre=positions,
    half_width=st.floats(1, 100),
    period=periods,
    p0=positions,
    v=st.just(0.0) | st.floats(-2000, 2000),
    a=st.just(0.0) | st.floats(-5000, 5000),
    duration_s=st.floats(0.01, 3),
)
@example(0.0, 100.0, 400.0, 0.0, 0.0, 0.0, 1.0)
@example(0.0, 100.0, None, -300.0, 800.0, -800.0, 2.0)  # turns inside the window
@example(0.0, 100.0, None, -300.0, 2000.0, -2000.0, 2.0)  # turns beyond it
def test_edges_are_those_that_dense_sampling_sees(
    centre: float,
    half_width: float,
    period: float | None,
    p0: float,
    v: float,
    a: float,
    duration_s: float,
) -> None:
    sensor = HallSensor(centre, half_width, period=period)

    def off_edge(position: float) -> float:
        away = position - centre
        if period is not None:
            away = math.remainder(away, period)
        return abs(abs(away) - half_width)

    assume(off_edge(p0) > ROUNDING)
    edges = all_edges(sensor, p0, v, a, duration_s)
    level = sensor.level(p0)
    upcoming = [*edges, (math.inf, level)]
    for index in range(SAMPLES + 1):
        time_s = duration_s * index / SAMPLES
        while upcoming[0][0] < time_s:
            assert upcoming[0][1] != level
            level = upcoming.pop(0)[1]
        position = p0 + v * time_s + 0.5 * a * time_s**2
        if off_edge(position) > ROUNDING:
            assert sensor.level(position) == level, time_s
    for time_s, _ in edges:
        assert 0.0 < time_s <= duration_s
        assert off_edge(p0 + v * time_s + 0.5 * a * time_s**2) < ROUNDING


def test_window_includes_its_edges() -> None:
    sensor = HallSensor(1000, 50)
    assert [sensor.level(at) for at in (949, 950, 1000, 1050, 1051)] == [
        *(False, True, True, True, False)
    ]


def test_even_motion_meets_each_edge_once() -> None:
    sensor = HallSensor(1000, 50)
    assert all_edges(sensor, 900, 100, 0, 10) == [(0.5, True), (1.5, False)]
    assert all_edges(sensor, 1100, -100, 0, 10) == [(0.5, True), (1.5, False)]


def test_motion_that_turns_meets_the_edge_again() -> None:
    # 100·t − 50·t² reaches 37.5 at t = 1 ∓ ½ (computed).
    sensor = HallSensor(87.5, 50)
    assert all_edges(sensor, 0, 100, -100, 10) == [(0.5, True), (1.5, False)]


def test_edge_that_is_only_touched_is_none() -> None:
    # 100·t − 50·t² turns at 50.
    assert all_edges(HallSensor(100, 50), 0, 100, -100, 10) == []


def test_edge_at_the_start_is_none_and_one_at_the_end_counts() -> None:
    sensor = HallSensor(100, 50)
    assert sensor.next_edge(50, 100, 0, 0.5) is None
    assert sensor.next_edge(0, 100, 0, 0.5) == (0.5, True)
    assert sensor.next_edge(0, 100, 0, 0.49) is None


def test_axis_at_rest_meets_no_edge() -> None:
    assert HallSensor(0, 50).next_edge(10, 0, 0, 100) is None
    assert HallSensor(0, 50).next_edge(50, 0, 0, 100) is None


def test_window_comes_again_at_each_turn() -> None:
    sensor = HallSensor(0, 10, period=100)
    assert sensor.level(200)
    assert sensor.level(-305)
    assert not sensor.level(150)
    assert all_edges(sensor, -50, -100, 0, 2) == [
        *((0.4, True), (0.6, False), (1.4, True), (1.6, False))
    ]


def test_behind_play_each_edge_is_met_later_in_either_direction() -> None:
    sensor = HallSensor(1000, 50, late=10)
    assert all_edges(sensor, 900, 100, 0, 10) == [(0.6, True), (1.6, False)]
    assert all_edges(sensor, 1100, -100, 0, 10) == [(0.6, True), (1.6, False)]


def test_within_the_play_of_an_edge_the_sensor_shows_what_it_showed() -> None:
    sensor = HallSensor(1000, 50, late=10)
    for at in (941, 950, 959, 1041, 1050, 1060):
        assert [sensor.level(at, before) for before in (True, False)] == [True, False]
    for at, level in ((940, True), (960, True), (1040, True), (939, False), (1061, False)):
        assert sensor.level(at, level) is level
    assert not sensor.level(939, before=True)
    assert sensor.level(961, before=False)


@pytest.mark.parametrize("stuck", [True, False])
def test_stuck_sensor_shows_one_level_and_no_edge(stuck: bool) -> None:
    sensor = HallSensor(0, 50, stuck)
    assert [sensor.level(at) for at in (-100, 0, 100)] == [stuck] * 3
    assert sensor.next_edge(-100, 100, 0, 10) is None


def test_impossible_windows_are_refused() -> None:
    with pytest.raises(ValueError, match="half width must be above 0, not 0"):
        HallSensor(0, 0)
    with pytest.raises(ValueError, match="2 × 50 counts fills its period of 100 counts"):
        HallSensor(0, 50, period=100)
    with pytest.raises(ValueError, match="met -1 counts late, but it cannot be below 0"):
        HallSensor(0, 50, late=-1)
