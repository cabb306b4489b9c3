"""A slip ring's contact, and how a joint measures its supply."""

from random import Random
from statistics import fmean, stdev

import pytest

from simulator.physics.slip_ring import SECTORS, SlipRing, SupplyMeter


def test_a_ring_that_neither_wears_nor_scatters_keeps_its_resistance() -> None:
    ring = SlipRing(0.05, 0.0, 0.0, Random(1))
    for turns in (0.0, 3.3, -8.0):
        ring.turn(turns)
        assert ring.ohm == 0.05


def test_it_wears_by_turns_of_either_way() -> None:
    ring = SlipRing(0.2, 1e-3, 0.0, Random(1))
    for turns in (5.0, 105.0, 55.0):
        ring.turn(turns)
    assert ring.travelled == 150.0
    assert ring.ohm == pytest.approx(0.2 * 1.15)


def test_round_the_ring_it_scatters_about_its_mean_and_comes_again_each_turn() -> None:
    ring = SlipRing(1.0, 0.0, 0.1, Random(7))
    found = []
    for sector in range(SECTORS):
        ring.turn(sector / SECTORS)
        found.append(ring.ohm)
    assert fmean(found) == pytest.approx(1.0, abs=0.05)
    assert stdev(found) == pytest.approx(0.1, abs=0.03)
    ring.turn(4.0)
    assert ring.ohm == pytest.approx(found[0])
    ring.turn(0.5 / SECTORS)
    assert min(found[:2]) < ring.ohm < max(found[:2])


def test_a_ring_is_its_seeds() -> None:
    rings = [SlipRing(1.0, 0.0, 0.1, Random(seed)) for seed in (3, 3, 4)]
    for ring in rings:
        ring.turn(0.3)
    assert rings[0].ohm == rings[1].ohm != rings[2].ohm


def test_a_reading_is_off_by_its_divider_and_its_noise() -> None:
    assert SupplyMeter(0.01, 0.0, Random(1)).reading_mv(24.0) == 24_240
    noisy = SupplyMeter(0.0, 0.02, Random(1))
    readings = [noisy.reading_mv(24.0) for _ in range(2_000)]
    assert fmean(readings) == pytest.approx(24_000, abs=3)
    assert stdev(readings) == pytest.approx(20, abs=1.5)
    assert min(noisy.reading_mv(0.0) for _ in range(100)) == 0
