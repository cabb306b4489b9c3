"""Which changes of a home sensor's level are one passage of its edge (wire document, homing)."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.joint.passages import STILL, Passing, bounce
from tests.simulator.joint.rig import PER_DEGREE, configuration

LIMITS = configuration()
WIDTH = bounce(LIMITS)
FAST = 20.0 * PER_DEGREE


def after(*changes: tuple[float, float]) -> Passing:
    passing = Passing()
    for position, velocity in changes:
        passing.change(position, velocity, LIMITS)
    return passing


def test_a_tenth_of_a_degree_belongs_to_a_passage_whatever_the_motor() -> None:
    assert pytest.approx(0.1 * PER_DEGREE) == WIDTH
    assert bounce(configuration(full_step=1)) == WIDTH


def test_one_change_is_a_passage_where_it_was() -> None:
    passing = after((1_234.5, FAST))
    assert (passing.begins, passing.counts, passing.place) == (True, True, 1_234.5)
    assert not passing.turned_round


def test_three_changes_are_one_passage_less_what_was_inactive_in_between() -> None:
    passing = after((100.0, FAST), (110.0, FAST), (130.0, FAST))
    assert (passing.begins, passing.counts) == (False, True)
    # Active from 100 to 110 and from 130 on: as much of the way as from 120 on.
    assert passing.place == 120.0


def test_two_changes_are_none() -> None:
    assert not after((100.0, FAST), (110.0, FAST)).counts


def test_what_comes_a_bounce_behind_the_first_change_is_another_passage() -> None:
    near, far = WIDTH - 0.001, WIDTH
    assert not after((100.0, FAST), (100.0 + near, FAST)).begins
    assert after((100.0, FAST), (100.0 + near, FAST), (100.0 + far, FAST)).begins
    assert after((100.0, -FAST), (100.0 - far, -FAST)).begins


def test_what_comes_after_turning_round_is_another_passage_and_known_as_that() -> None:
    passing = after((100.0, FAST), (90.0, -FAST))
    assert (passing.begins, passing.turned_round, passing.counts) == (True, True, True)
    passing = after((100.0, FAST), (90.0 - WIDTH, -FAST))
    assert (passing.begins, passing.turned_round) == (True, False)


def test_a_joint_that_hardly_moves_has_not_turned_round() -> None:
    slow = STILL - 1.0
    assert not after((100.0, FAST), (90.0, -slow)).begins
    # Its direction is that of the first change that had one.
    passing = after((100.0, 0.0), (101.0, -FAST), (100.0, FAST))
    assert passing.begins
    assert passing.turned_round


def test_what_is_forgotten_has_no_more_changes() -> None:
    passing = after((100.0, FAST))
    passing.forget()
    passing.change(101.0, FAST, LIMITS)
    assert (passing.begins, passing.turned_round, passing.counts) == (True, False, True)


@given(
    st.floats(-1e9, 1e9),
    st.lists(st.floats(0.0, WIDTH * 0.99), min_size=1, max_size=31, unique=True),
    st.sampled_from([1.0, -1.0]),
)
def test_place_is_where_one_switch_would_leave_as_much_of_the_way_active(
    begin: float, away: list[float], direction: float
) -> None:
    """By the way that it was active, summed up piece by piece, up to well behind the edge."""
    places = [begin + direction * one for one in [0.0, *sorted(away)]]
    passing = after(*((place, direction * FAST) for place in places))
    assert passing.counts == (len(places) % 2 == 1)
    if not passing.counts:
        return
    end = begin + direction * WIDTH
    pieces = list(pairwise([*places, end]))[::2]
    active = sum(abs(b - a) for a, b in pieces)
    assert abs(end - passing.place) == pytest.approx(active, abs=1e-5)
    assert min(places) - 1e-5 <= passing.place <= max(places) + 1e-5
