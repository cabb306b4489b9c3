"""Where a path meets the edges of the home sensor."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.points import Point, PointsFrame
from protocol.segments import hermite
from simulator.edges import PathEdges, next_edge
from simulator.joint.buffer import PointBuffer
from simulator.joint.motion import brake, toward
from simulator.physics.hall import HallSensor
from simulator.physics.play import Play
from tests.simulator.joint.rig import PER_DEGREE, configuration

SAMPLES = 40


def loaded(points: list[Point]) -> PointBuffer:
    """A buffer with points, checked against no limits: any cubic must do."""
    buffer = PointBuffer(512)
    buffer._points, buffer._times = points, [point.time_us for point in points]
    return buffer


def all_edges(edges: PathEdges) -> list[tuple[float, bool]]:
    found = []
    while (one := edges.next()) is not None:
        found.append(one)
        edges.passed()
        assert edges.level is one[1]
    return found


paths = st.lists(
    st.tuples(
        st.integers(200_000, 2_000_000),
        st.integers(-3_000_000, 3_000_000),
        st.integers(-3_000_000, 3_000_000),
    ),
    min_size=2,
    max_size=6,
).map(
    lambda rows: [
        Point(sum(row[0] for row in rows[: k + 1]), position, velocity)
        for k, (_, position, velocity) in enumerate(rows)
    ]
)
sensors = st.builds(
    HallSensor,
    st.integers(-2_000_000, 2_000_000),
    st.integers(1_000, 400_000),
    period=st.none() | st.integers(1_000_000, 4_000_000),
)


@given(paths, sensors, st.floats(-1e6, 1e6))
def test_sensor_shows_along_any_path_what_its_edges_say(
    points: list[Point], sensor: HallSensor, offset: float
) -> None:
    edges = PathEdges(sensor, loaded(points), float(points[0].time_us), offset)
    level = edges.level
    found = all_edges(edges)
    assert [one[0] for one in found] == sorted(one[0] for one in found)
    for a, b in pairwise(points):
        for k in range(SAMPLES + 1):
            time_us = a.time_us + (b.time_us - a.time_us) * k / SAMPLES
            position = hermite(a, b, time_us)[0] + offset
            if sensor.level(position - 0.1) is not sensor.level(position + 0.1):
                continue
            expected = [level, *(one[1] for one in found if one[0] <= time_us)][-1]
            assert sensor.level(position) is expected
    for time_us, _ in found:
        a, b = next(pair for pair in pairwise(points) if pair[1].time_us >= time_us)
        position = hermite(a, b, time_us)[0] + offset
        assert sensor.level(position - 0.1) is not sensor.level(position + 0.1)


@given(paths, sensors, st.integers(1, 300_000))
def test_behind_play_the_sensor_shows_where_the_output_is(
    points: list[Point], sensor: HallSensor, play: int
) -> None:
    """Along any path, against play that is followed in small steps and a sensor without any."""
    begin = hermite(points[0], points[1], points[0].time_us)[0]
    output = Play(play, begin)
    late = HallSensor(sensor._centre, sensor._half_width, period=sensor._period, late=play / 2.0)
    edges = PathEdges(late, loaded(points), float(points[0].time_us), 0.0)
    level = edges.level
    assert level is sensor.level(begin)
    found = all_edges(edges)
    for a, b in pairwise(points):
        for k in range(10 * SAMPLES + 1):
            time_us = a.time_us + (b.time_us - a.time_us) * k / (10 * SAMPLES)
            at = output.follow(hermite(a, b, time_us)[0])
            # What turns round between two of these steps is missed by as much as that at most.
            fine = 0.5 * 3e6 * 8.0 * (2.0 / (10 * SAMPLES)) ** 2
            if sensor.level(at - fine) is not sensor.level(at + fine):
                continue
            expected = [level, *(one[1] for one in found if one[0] <= time_us)][-1]
            assert sensor.level(at) is expected


@given(paths, sensors)
def test_points_that_come_one_by_one_make_the_same_edges(
    points: list[Point], sensor: HallSensor
) -> None:
    whole = all_edges(PathEdges(sensor, loaded(points), float(points[0].time_us), 0.0))
    growing = loaded(points[:1])
    edges, found = PathEdges(sensor, growing, float(points[0].time_us), 0.0), []
    for point in points[1:]:
        growing._points.append(point)
        growing._times.append(point.time_us)
        found += all_edges(edges)
        growing.free(edges._looked_us)
    assert found == whole


def test_crossing_is_where_the_cubic_says() -> None:
    """0→10, zero end velocities, h 1: q(.25) 1.5625, q(.5) 5 (facts.md, Motion; computed)."""
    scale = PER_DEGREE
    buffer = PointBuffer(512)
    frame = PointsFrame(1, 0, (Point(0, 0, 0), Point(1_000_000, 10 * scale, 0, last=True)))
    limits = configuration(acceleration=10**9, ramp=[(0, 0), (10_000_000, 1_000_000)])
    assert buffer.take(frame, limits) is None
    sensor = HallSensor((5 + 1.5625) / 2 * scale, (5 - 1.5625) / 2 * scale)
    [(entered_us, on), (left_us, off)] = all_edges(PathEdges(sensor, buffer, 0.0, 0.0))
    assert (on, off) == (True, False)
    assert entered_us == pytest.approx(250_000, abs=0.01)
    assert left_us == pytest.approx(500_000, abs=0.01)


def test_broken_sensor_has_no_edges() -> None:
    sensor = HallSensor(0.0, 100.0, stuck=True)
    edges = PathEdges(sensor, loaded([Point(0, -500, 0), Point(10**6, 500, 0)]), 0.0, 0.0)
    assert edges.next() is None
    assert edges.level is True


@given(
    speed=st.floats(1e3, 1e6),
    acceleration=st.floats(1e4, 1e7),
    edge=st.floats(-1e6, 1e6),
    began_us=st.floats(0.0, 1e10),
)
def test_edge_where_two_legs_of_a_motion_meet_is_not_missed(
    speed: float, acceleration: float, edge: float, began_us: float
) -> None:
    """Homing brakes behind an edge and goes back over it: it is at full speed just there again."""
    sensor = HallSensor(edge - 1e9, 1e9)
    over = brake(began_us, edge, -speed, acceleration)
    now, place = over.end_us, over.end_position
    beyond = edge + speed + speed * speed / acceleration
    back = toward(now, place, 0.0, speed, acceleration, -math.inf, beyond)
    found = next_edge(back, sensor, 0.0, True, now)
    assert found is not None
    assert found[1] is False
    assert back.at(found[0])[0] == pytest.approx(edge, abs=1e-3 + speed * 2e-6)
