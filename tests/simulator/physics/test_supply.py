"""The supply chain against closed forms and computed figures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.supply import SupplyCollapse, chain_voltages


# One constant-power load: V = V0/2 + √(V0²/4 − PR). 24 V, 0.5 Ω, 100 W → 21.6954 V (computed).
def test_one_load_sits_at_the_higher_root() -> None:
    assert chain_voltages(24.0, [0.5], [100.0]) == [pytest.approx(21.6954, abs=5e-5)]


@given(st.floats(5, 60), st.floats(0.001, 5), st.floats(0, 0.999))
def test_one_load_has_the_closed_form_up_to_its_limit(
    source_v: float, ohm: float, share: float
) -> None:
    watts = share * source_v**2 / (4 * ohm)
    closed_v = source_v / 2 + math.sqrt(source_v**2 / 4 - watts * ohm)
    assert chain_voltages(source_v, [ohm], [watts]) == [pytest.approx(closed_v, rel=1e-8)]


# No solution if P > V0²/4R: 288 W at 24 V and 0.5 Ω (computed).
def test_one_load_collapses_just_above_its_limit() -> None:
    assert chain_voltages(24.0, [0.5], [287.999]) == [pytest.approx(12.0, abs=0.05)]
    with pytest.raises(SupplyCollapse):
        chain_voltages(24.0, [0.5], [288.001])


# Six loads of 15 W, 0.05 Ω a hop (computed).
def test_chain_of_six_at_24_v() -> None:
    expected = [23.8086, 23.6487, 23.5206, 23.4243, 23.3601, 23.3279]
    assert chain_voltages(24.0, [0.05] * 6, [15.0] * 6) == pytest.approx(expected, abs=5e-5)


def test_chain_of_six_at_12_v() -> None:
    voltages = chain_voltages(12.0, [0.05] * 6, [15.0] * 6)
    assert voltages[0] == pytest.approx(11.5885, abs=5e-5)
    assert voltages[5] == pytest.approx(10.5369, abs=5e-5)


# 12 V, 0.1 Ω a hop: collapses just above 19.905 W each (computed).
def test_chain_of_six_collapses_just_above_its_limit_and_names_the_figures() -> None:
    assert len(chain_voltages(12.0, [0.1] * 6, [19.905] * 6)) == 6
    with pytest.raises(
        SupplyCollapse,
        match=r"supply of 12 V collapses: over 0\.6 Ω in 6 hops it cannot bring 119\.436 W to 6",
    ):
        chain_voltages(12.0, [0.1] * 6, [19.906] * 6)


hops = st.floats(0, 0.2)
loads = st.floats(0, 40)


@given(st.lists(st.tuples(hops, loads), min_size=1, max_size=8), st.floats(9, 48))
def test_solution_obeys_ohm_and_carries_every_load(
    chain: list[tuple[float, float]], source_v: float
) -> None:
    ohms, watts = (list(values) for values in zip(*chain, strict=True))
    try:
        voltages = chain_voltages(source_v, ohms, watts)
    except SupplyCollapse:
        # Holding all loads at half the source is then beyond what the hops can do: all the power
        # through every hop at a current of P/(V0/2) drops more than half of it.
        assert sum(ohms) * sum(watts) / (source_v / 2) > source_v / 2
        return
    before_v = source_v
    for index, volts in enumerate(voltages):
        current = sum(p / v for p, v in zip(watts[index:], voltages[index:], strict=True))
        assert before_v - volts == pytest.approx(ohms[index] * current, abs=1e-6)
        before_v = volts


@given(st.lists(st.tuples(hops, st.floats(0, 8)), min_size=1, max_size=6))
def test_more_load_anywhere_lowers_every_voltage(chain: list[tuple[float, float]]) -> None:
    # 6 × (8 + 2) W over 1.2 Ω is at most 72 W·Ω, half of the 144 that 24 V bears for sure.
    ohms, watts = (list(values) for values in zip(*chain, strict=True))
    voltages = chain_voltages(24.0, ohms, watts)
    for index in range(len(watts)):
        more = [*watts[:index], watts[index] + 2.0, *watts[index + 1 :]]
        heavier = chain_voltages(24.0, ohms, more)
        assert all(b <= a + 1e-9 for a, b in zip(voltages, heavier, strict=True))


def test_unloaded_chain_keeps_the_source_voltage_and_an_empty_one_is_empty() -> None:
    assert chain_voltages(24.0, [0.1, 0.0, 0.3], [0.0] * 3) == [24.0] * 3
    assert chain_voltages(24.0, [], []) == []


def test_lists_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="chain of 2 hops cannot feed 1 joints"):
        chain_voltages(24.0, [0.1, 0.1], [5.0])
