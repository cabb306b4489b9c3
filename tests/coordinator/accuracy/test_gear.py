"""Gear ratio and direction, against scipy's line and by formulas."""

from math import radians

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from coordinator.accuracy.gear import (
    LEAST_READINGS,
    LEAST_TURNS,
    Gear,
    as_written,
    by_turns,
    fitted,
    whole_within,
)
from coordinator.accuracy.no_figure import NoFigure

TOLD = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)
PAIRS = st.lists(
    st.tuples(st.integers(-170, 170), st.floats(-0.4, 0.4)), min_size=LEAST_READINGS, max_size=40
)


@given(PAIRS, st.floats(0.3, 3.0), st.sampled_from([1, -1]), st.floats(-90, 90))
def test_line_and_its_uncertainty_are_those_of_scipy(
    pairs: list[tuple[int, float]], share: float, way: int, offset: float
) -> None:
    commanded = [float(at) for at, _ in pairs]
    read = [offset + way * share * at + off for at, off in pairs]
    assume(len(set(commanded)) >= 3)
    assume(max(commanded) - min(commanded) >= 60.0)
    line = stats.linregress(commanded, read)
    assume(2.0 * line.stderr < 0.04 * abs(line.slope))
    found = fitted(commanded, read, 0.0)
    assert found.share == pytest.approx(line.slope)
    assert found.offset == pytest.approx(line.intercept, abs=1e-9)
    # Of a line that is met exactly scipy leaves a root of what floats round.
    assert found.uncertainty == pytest.approx(line.stderr, rel=1e-6, abs=1e-7)
    assert found.is_right_way is (way > 0)


def test_ratio_is_what_the_file_says_over_the_share_that_was_turned() -> None:
    # A joint of 25:1 that the file has as 20:1 turns by 20/25 of what it is told (computed).
    found = fitted(TOLD, [0.8 * one for one in TOLD], 0.1)
    ratio, uncertainty = found.ratio(20.0)
    assert ratio == pytest.approx(25.0)
    # 0.1/sqrt(12) over sqrt of the sum of squares, 6300 (GUM, JCGM 100:2008, F.2.2.1; computed).
    assert found.uncertainty == pytest.approx(0.1 / 12**0.5 / 6300**0.5)
    assert uncertainty == pytest.approx(25.0 * found.uncertainty / 0.8)
    assert not found.agrees
    assert whole_within(ratio, uncertainty) == 25


def test_readings_that_scatter_about_what_was_commanded_agree() -> None:
    off = (0.1, -0.1, 0.2, 0.0, -0.2, 0.1, -0.1)
    found = fitted(TOLD, [7.0 + at + one for at, one in zip(TOLD, off, strict=True)], 0.1)
    assert found.agrees
    assert found.is_right_way


@pytest.mark.parametrize(
    ("commanded", "read", "why"),
    [
        (TOLD[:3], TOLD[:3], "3 readings where 6 are needed"),
        ((0.0, 90.0) * 3, (0.0, 90.0) * 3, "2 different angles, and it takes 3"),
        ((0.0, 5.0, 10.0) * 2, (0.0, 5.0, 10.0) * 2, "10° apart, and it takes 20°"),
        (TOLD, (1.0, 1.2, 0.9, 1.1, 0.8, 1.0, 1.1), "Did the joint turn at all"),
        (TOLD, (350, 5, 20, 35, 50, 65, 80), "a scale that begins again within it"),
        (TOLD, (0, 15, 30, 145, 60, 75, 90), "Is there a slip"),
        (TOLD, [radians(one) for one in TOLD], "radians for degrees"),
        (TOLD, [60.0 * one for one in TOLD], "arcmin for degrees"),
        (TOLD, [-one / 360.0 for one in TOLD], "turns for degrees"),
    ],
)
def test_where_no_gear_can_be_told_the_reason_stands_in_its_place(
    commanded: tuple[float, ...], read: list[float], why: str
) -> None:
    with pytest.raises(NoFigure, match=why):
        fitted(commanded, read, 0.001)


def test_whole_turns_tell_the_gear_by_what_the_joint_believed() -> None:
    # 25:1 that the file has as 20:1: a whole turn is believed to be 450 degrees (computed).
    found = by_turns((450.0, 450.02, 449.98, 450.0), 1e-5)
    ratio, uncertainty = found.ratio(20.0)
    assert ratio == pytest.approx(25.0)
    # Passes at 0, 450, -0.02, 449.96 and -0.04 degrees: two places, each less its own mean, have
    # the squares 0.0016 with 3 degrees of freedom, and there are 3 and 2 (computed).
    assert uncertainty / ratio == pytest.approx(
        (0.0016 / 3 * (1 / 3 + 1 / 2)) ** 0.5 / 449.995, rel=1e-3
    )
    assert not found.agrees


@given(st.lists(st.floats(300, 400), max_size=LEAST_TURNS - 1))
def test_of_too_few_turns_no_gear_is_told(believed: list[float]) -> None:
    with pytest.raises(NoFigure, match="turns where 3 are needed"):
        by_turns(believed, 1e-5)


@given(st.floats(0.5, 100), st.floats(1e-6, 1.0))
def test_ratio_is_written_no_coarser_than_it_is_known(ratio: float, uncertainty: float) -> None:
    assert abs(as_written(ratio, uncertainty) - ratio) <= 0.06 * uncertainty + 1e-9


def test_no_whole_number_is_told_where_there_is_none_near_or_more_than_one() -> None:
    assert whole_within(19.2, 0.01) is None
    assert whole_within(20.1, 0.4) is None
    assert whole_within(20.02, 0.02) == 20


def test_gear_that_turns_the_other_way_may_have_the_right_ratio() -> None:
    found = Gear(6, -1.0, 0.001, 0.1, 4)
    assert found.agrees
    assert not found.is_right_way


def test_turns_that_are_all_alike_are_no_surer_than_the_edges_between_them() -> None:
    found = by_turns((360.001, 360.001, 360.001), 0.001)
    assert found.uncertainty == pytest.approx(0.001 / 360.0, rel=1e-4)
    assert found.agrees


@pytest.mark.parametrize("turns", [3, 4, 6, 10])
def test_right_gear_is_called_wrong_as_seldom_as_its_uncertainty_says(turns: int) -> None:
    # Many operators; each homing is off by chance, and is the end of one turn and the next's begin.
    chance = np.random.default_rng(turns)
    found = []
    for _ in range(3000):
        passes = chance.normal(0.0, 0.01, turns + 1) + 360.0 * (np.arange(turns + 1) % 2)
        found.append(by_turns(np.abs(np.diff(passes)).tolist(), 0.0))
    assert np.mean([one.agrees for one in found]) == pytest.approx(0.95, abs=0.015)
    stated = np.sqrt(np.mean([one.uncertainty**2 for one in found]))
    assert stated / np.std([one.share for one in found]) == pytest.approx(1.0, abs=0.05)
