"""The noise of a home sensor, by what a normal distribution has, and its changes of level."""

import math
from itertools import pairwise
from statistics import fmean, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kstest

from simulator.edges import LOOKS, next_bounce
from simulator.physics.hall import HallSensor
from simulator.physics.hall_noise import REACH, SAMPLE_US, HallNoise

COUNTS = 270.0


def test_noise_is_normal_with_its_standard_deviation_and_without_memory() -> None:
    noise = HallNoise(COUNTS, 7)
    drawn = [noise.at(sample) for sample in range(20_000)]
    # Kolmogorov-Smirnov by SciPy; the standard errors of the others are 1/√n and less.
    assert kstest(drawn, "norm", args=(0.0, COUNTS)).pvalue > 0.01
    assert fmean(drawn) == pytest.approx(0.0, abs=4.0 * COUNTS / math.sqrt(20_000))
    assert pstdev(drawn) == pytest.approx(COUNTS, rel=0.02)
    products = [a * b for a, b in pairwise(drawn)]
    assert fmean(products) == pytest.approx(0.0, abs=4.0 * COUNTS**2 / math.sqrt(20_000))


def test_noise_of_a_sample_does_not_depend_on_what_was_asked_before() -> None:
    one, other = HallNoise(COUNTS, 7), HallNoise(COUNTS, 7)
    forwards = [one.at(sample) for sample in range(50)]
    assert [other.at(sample) for sample in reversed(range(50))] == forwards[::-1]
    assert HallNoise(COUNTS, 8).at(0) != forwards[0]


def test_noise_never_reaches_further_than_is_said() -> None:
    noise = HallNoise(COUNTS, 7)
    assert noise.reach == REACH * COUNTS
    assert max(abs(noise.at(sample)) for sample in range(20_000)) <= noise.reach


@given(
    begin=st.floats(-40_000.0, 40_000.0),
    speed=st.floats(500.0, 90_000.0) | st.floats(-90_000.0, -500.0),
    seed=st.integers(0, 2**64 - 1),
    period=st.none() | st.floats(60_000.0, 90_000.0),
)
def test_samples_that_are_passed_over_change_nothing(
    begin: float, speed: float, seed: int, period: float | None
) -> None:
    """Beside a look at every single sample. The motion is even, and `fastest` is beyond it."""
    hall = HallSensor(0.0, 15_000.0, period=period)
    noise = HallNoise(COUNTS, seed)

    def true(at_us: float) -> float:
        return begin + speed * at_us / 1e6

    samples = 4_000
    level = before = hall.level(begin)
    expected = []
    for sample in range(1, samples + 1):
        inside = hall.inside(true(sample * SAMPLE_US))
        if (inside + noise.at(sample) >= 0.0) is not before:
            before = not before
            expected.append((sample * SAMPLE_US, before))
    now, found = 0.0, []
    while now < samples * SAMPLE_US:
        now, shows = next_bounce(true, hall, noise, 100_000.0, level, now)
        if shows is not None:
            level = shows
            found.append((now, shows))
    assert [one for one in found if one[0] <= samples * SAMPLE_US] == expected


def test_far_from_its_edges_a_few_looks_pass_over_minutes() -> None:
    hall, noise = HallSensor(0.0, 1_000.0), HallNoise(1.0, 1)
    looked = 0

    def true(at_us: float) -> float:
        nonlocal looked
        looked += 1
        return 1e9 + at_us / 1e6

    now, shows = next_bounce(true, hall, noise, 1e6, False, 0.0)
    assert shows is None
    assert looked == LOOKS
    assert now > 60e6
