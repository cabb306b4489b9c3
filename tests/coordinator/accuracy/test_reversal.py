"""Reversal value against a worked example, and what must hold of any readings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.accuracy.reversal import Reversal, Target, side

# By the formulas of ISO 230-2 (from memory), computed by hand.
BELOW = [3.0, 4.0, 5.0, 4.0, 4.0]
ABOVE = [9.0, 10.0, 11.0, 10.0, 10.0]
SOME = st.lists(st.floats(-9, 9), min_size=2, max_size=9)


def test_figures_are_those_of_the_worked_example() -> None:
    target = Target(0.0, side(BELOW), side(ABOVE))

    assert target.reversal == pytest.approx(-6.0)
    assert target.below.deviation == pytest.approx(0.7071, abs=5e-5)
    assert target.repeatability == pytest.approx(8.828, abs=5e-4)


def test_the_joint_has_the_reversal_value_of_its_worst_target_and_keeps_its_sign() -> None:
    flat = Target(0.0, side([0.0, 0.0]), side([1.0, 1.0]))
    worse = Target(90.0, side([0.0, 0.0]), side([-3.0, -3.0]))
    found = Reversal((flat, worse))

    assert (found.largest.at, found.largest.reversal) == (90.0, 3.0)
    assert found.mean == pytest.approx(1.0)
    assert found.systematic == pytest.approx(4.0)
    assert found.accuracy == pytest.approx(4.0)


def test_readings_that_are_all_the_same_leave_open_what_their_last_digit_does() -> None:
    # GUM (JCGM 100:2008), F.2.2.1: 0.29 of the resolution, for each of both sides.
    target = Target(0.0, side([0.1] * 5), side([-0.1] * 5), resolution=0.01)

    assert target.uncertainty == pytest.approx(0.0029 * 2**0.5, abs=5e-5)


def test_a_reversal_value_that_is_larger_than_the_targets_lie_apart_is_implausible() -> None:
    def found(at: float) -> Reversal:
        return Reversal(
            (
                Target(0.0, side([0.0, 0.0]), side([3.0, 3.0])),
                Target(at, side([0.0, 0.0]), side([1.0, 1.0])),
            )
        )

    assert found(2.0).is_implausible
    assert not found(3.0).is_implausible
    assert not Reversal(found(2.0).targets[:1]).is_implausible  # one alone says nothing of it


@given(SOME, SOME)
def test_coming_from_the_other_side_turns_the_sign_and_nothing_else(
    below: list[float], above: list[float]
) -> None:
    one, other = Target(0.0, side(below), side(above)), Target(0.0, side(above), side(below))

    assert one.reversal == -other.reversal
    assert one.repeatability == pytest.approx(other.repeatability)
    assert one.repeatability >= abs(one.reversal)


def test_stated_uncertainty_is_how_far_the_figure_scatters() -> None:
    # Many operators measure a play of 0.2° with a gauge that scatters by 0.02°.
    chance = np.random.default_rng(230)
    found = [
        Target(
            0.0,
            side(chance.normal(0.1, 0.02, 5).tolist()),
            side(chance.normal(-0.1, 0.02, 5).tolist()),
        )
        for _ in range(2000)
    ]
    scatter = np.std([one.reversal for one in found])
    stated = np.sqrt(np.mean([one.uncertainty**2 for one in found]))

    assert 0.9 < stated / scatter < 1.1
    assert np.mean([one.reversal for one in found]) == pytest.approx(0.2, abs=0.002)


def test_play_that_is_none_is_seldom_seen_and_the_bound_seldom_too_low() -> None:
    chance = np.random.default_rng(231)
    found = [
        Reversal(
            (
                Target(
                    0.0,
                    side(chance.normal(0, 1, 5).tolist()),
                    side(chance.normal(0, 1, 5).tolist()),
                ),
            )
        )
        for _ in range(2000)
    ]
    # 95 of 100, and Student's t of one side alone is on the safe side.
    assert np.mean([one.is_seen for one in found]) < 0.05
    assert all(one.bound > abs(one.largest.reversal) for one in found)
