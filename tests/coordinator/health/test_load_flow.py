"""Volts along the chain against closed forms, computed figures and an outside root finder."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import root

from coordinator.health.load_flow import currents, load_flow
from simulator.physics.supply import SupplyCollapse, chain_voltages

CHAIN = st.lists(st.tuples(st.floats(0.001, 0.3), st.floats(0.0, 40.0)), min_size=1, max_size=12)


# One load: V = V0/2 + √(V0²/4 − PR); 24 V, 0.5 Ω, 100 W → 21.6954 V (computed).
def test_one_load_sits_at_the_higher_root() -> None:
    assert load_flow(24.0, [0.5], [100.0]) == pytest.approx((21.6954,), abs=5e-5)


@given(st.floats(5, 60), st.floats(0.001, 5), st.floats(0, 0.999))
def test_one_load_has_the_closed_form_up_to_its_limit(
    source_v: float, ohm: float, share: float
) -> None:
    watts = share * source_v**2 / (4 * ohm)
    closed_v = source_v / 2 + math.sqrt(source_v**2 / 4 - watts * ohm)
    assert load_flow(source_v, [ohm], [watts]) == pytest.approx((closed_v,), rel=1e-8)


# None if P > V0²/4R: 288 W at 24 V and 0.5 Ω (computed).
def test_one_load_collapses_just_above_its_limit() -> None:
    assert load_flow(24.0, [0.5], [287.999]) == pytest.approx((12.0,), abs=0.05)
    assert load_flow(24.0, [0.5], [288.001]) is None


# Six loads of 15 W, 0.05 Ω a hop (computed).
def test_a_chain_of_six() -> None:
    expected = (23.8086, 23.6487, 23.5206, 23.4243, 23.3601, 23.3279)
    assert load_flow(24.0, [0.05] * 6, [15.0] * 6) == pytest.approx(expected, abs=5e-5)
    low = load_flow(12.0, [0.05] * 6, [15.0] * 6)
    assert low is not None
    assert (low[0], low[5]) == pytest.approx((11.5885, 10.5369), abs=5e-5)


# 12 V, 0.1 Ω a hop: collapses just above 19.905 W each (computed).
def test_a_chain_of_six_collapses_just_above_its_limit() -> None:
    assert load_flow(12.0, [0.1] * 6, [19.905] * 6) is not None
    assert load_flow(12.0, [0.1] * 6, [19.906] * 6) is None


@given(CHAIN, st.floats(9, 48))
def test_a_root_finder_finds_the_same_volts(
    chain: list[tuple[float, float]], source_v: float
) -> None:
    ohms, watts = (list(values) for values in zip(*chain, strict=True))
    found = load_flow(source_v, ohms, watts)
    if found is None or found[-1] < 0.6 * source_v:
        return  # near collapse the outside finder may come upon the lower solution

    def unbalanced(volts: list[float]) -> list[float]:
        before = [source_v, *volts[:-1]]
        drawn = [p / v for p, v in zip(watts, volts, strict=True)]
        through = [sum(drawn[k:]) for k in range(len(volts))]
        return [b - v - r * i for b, v, r, i in zip(before, volts, ohms, through, strict=True)]

    # MINPACK's hybrid method, as scipy has it: knows nothing of chains.
    outside = root(unbalanced, [source_v] * len(watts), tol=1e-12)
    assert found == pytest.approx(list(outside.x), abs=1e-7)


@given(CHAIN, st.floats(5, 48))
def test_the_world_of_the_software_joints_agrees_on_volts_and_on_collapse(
    chain: list[tuple[float, float]], source_v: float
) -> None:
    # Written apart, by Newton's method: neither can hide the other's mistake.
    ohms, watts = (list(values) for values in zip(*chain, strict=True))
    try:
        expected = chain_voltages(source_v, ohms, watts)
    except SupplyCollapse:
        assert load_flow(source_v, ohms, [p * (1 + 1e-6) for p in watts]) is None
    else:
        assert load_flow(source_v, ohms, watts) == pytest.approx(expected, abs=1e-5)


def test_a_chain_without_load_keeps_the_sources_volts_and_an_empty_one_is_empty() -> None:
    assert load_flow(24.0, [0.1, 0.0, 0.3], [0.0] * 3) == (24.0,) * 3
    assert load_flow(24.0, [], []) == ()


def test_a_hop_carries_its_joint_and_all_behind_it() -> None:
    assert currents([24.0, 12.0], [24.0, 6.0]) == [1.5, 0.5]


def test_lists_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="chain of 2 hops cannot feed 1 joints"):
        load_flow(24.0, [0.1, 0.1], [5.0])
