"""The ramp: monotone, its own inverse, never harder than a joint's limits allow."""

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.constants import ACCELERATION_SHARE, PPM, US
from protocol.ramp import ROWS, Ramp

RATIOS = st.floats(0.01, 20.0)
RATES = st.floats(0.0, 1.0)
HALF = Ramp.for_ratio(0.5)
tables = st.one_of(
    RATIOS.map(Ramp.for_ratio),
    st.lists(
        st.tuples(st.integers(1, 500_000), st.integers(1, 200_000)), min_size=1, max_size=12
    ).map(
        lambda steps: Ramp(
            [
                (0, 0),
                *(
                    (sum(t for t, _ in steps[: k + 1]), round(sum(r for _, r in steps[: k + 1])
                     * PPM / sum(r for _, r in steps)))
                    for k in range(len(steps))
                ),
            ]
        )
    ),
)  # fmt: skip


# ṡ = −(a/v)(1 − 0.8·s²), integrated: t = (v/a)·artanh(√0.8)/√0.8, path = −(v/a)·ln(0.2)/1.6.
# For 60 °/s and 120 °/s² that is 0.807 s and 0.503 s (design section 5.4: 0.81 s, 0.5 s).
def test_table_is_not_faster_than_the_closed_form_and_within_3_percent() -> None:
    time_s = 0.5 * math.atanh(math.sqrt(0.8)) / math.sqrt(0.8)
    path_s = -0.5 * math.log(0.2) / 1.6
    assert time_s == pytest.approx(0.81, abs=0.005)
    assert path_s == pytest.approx(0.50, abs=0.005)
    assert time_s <= HALF.duration_us / US <= 1.03 * time_s
    assert path_s <= HALF.path_us / US <= 1.03 * path_s


@given(RATIOS, st.floats(0.001, 1.0))
def test_table_is_nowhere_faster_than_the_closed_form(ratio: float, rate: float) -> None:
    root = math.sqrt(ACCELERATION_SHARE)
    ramp = Ramp.for_ratio(ratio)
    least_us = ratio * math.atanh(root * rate) / root * US
    assert ramp.time(rate) >= least_us * (1 - 1e-9)


@given(RATIOS, st.floats(0.01, 1.0), st.floats(1.0, 1e7))
def test_every_row_keeps_the_limits_of_every_joint_with_a_smaller_ratio(
    ratio: float, part: float, acceleration: float
) -> None:
    """At rate s a plan uses 0.8·s²·a and the ramp |ṡ|·v; within a piece s is largest at its end."""
    ramp = Ramp.for_ratio(ratio)
    velocity = part * ratio * acceleration
    for (time_a, rate_a), (time_b, rate_b) in zip(ramp.rows, ramp.rows[1:], strict=False):
        change = (rate_b - rate_a) / (time_b - time_a)  # ppm/µs is 1/s
        used = ACCELERATION_SHARE * (rate_b / PPM) ** 2 * acceleration + change * velocity
        assert used <= acceleration * (1 + 1e-9)
    assert ramp.excess(velocity, acceleration) is None


@given(RATIOS)
def test_a_joint_well_beyond_the_ratio_is_told_so(ratio: float) -> None:
    acceleration = 1e5
    sentence = Ramp.for_ratio(ratio).excess(1.05 * ratio * acceleration, acceleration)
    assert sentence is not None
    assert "more than the acceleration limit 100000" in sentence


@given(RATIOS)
def test_table_has_its_rows_and_grows(ratio: float) -> None:
    rows = Ramp.for_ratio(ratio).rows
    assert len(rows) == ROWS
    assert rows[0] == (0, 0)
    assert rows[-1][1] == PPM
    assert all(a[0] < b[0] and a[1] < b[1] for a, b in itertools.pairwise(rows))


@given(tables, RATES, RATES)
def test_time_grows_with_rate_and_rate_is_its_inverse(ramp: Ramp, a: float, b: float) -> None:
    assert ramp.rate(ramp.time(a)) == pytest.approx(a, abs=1e-9)
    if a < b:
        assert ramp.time(a) <= ramp.time(b)


@given(tables, RATES)
def test_time_of_path_is_the_inverse_of_path(ramp: Ramp, part: float) -> None:
    time = part * ramp.duration_us
    found = ramp.time_of_path(ramp.path(time))
    # Near rest path grows with the square of time, so a rounding there is seen as its root.
    assert ramp.path(found) == pytest.approx(ramp.path(time), rel=1e-9, abs=1e-6)
    assert found == pytest.approx(time, abs=0.01)


@given(tables, st.floats(0.0, 1e-3))
def test_time_of_a_path_however_short_is_found(ramp: Ramp, path_us: float) -> None:
    assert ramp.path(ramp.time_of_path(path_us)) == pytest.approx(path_us, rel=1e-6, abs=1e-30)


@pytest.mark.parametrize("path_us", [5e-324, 1e-320, 1e-31])
def test_paths_below_any_rounding_take_no_time(path_us: float) -> None:
    assert HALF.time_of_path(path_us) == 0.0


@given(tables, RATES)
def test_path_is_the_integral_of_rate(ramp: Ramp, part: float) -> None:
    """Trapezoids between rows are exact, for the rate is linear there."""
    time = part * ramp.duration_us
    knots = [0.0, *(float(t) for t, _ in ramp.rows[1:] if t < time), time]
    area = sum(0.5 * (ramp.rate(a) + ramp.rate(b)) * (b - a) for a, b in itertools.pairwise(knots))
    assert ramp.path(time) == pytest.approx(area, rel=1e-9, abs=1e-6)


@given(tables, RATES, RATES)
def test_path_grows_with_time_and_never_faster_than_it(ramp: Ramp, a: float, b: float) -> None:
    assume(a < b)
    low, high = a * ramp.duration_us, b * ramp.duration_us
    assert -1e-6 <= ramp.path(high) - ramp.path(low) <= (high - low) * (1 + 1e-9) + 1e-6


@given(tables)
def test_outside_the_table_the_ends_hold(ramp: Ramp) -> None:
    assert (ramp.rate(-1.0), ramp.path(-1.0), ramp.time(-0.1)) == (0.0, 0.0, 0.0)
    assert ramp.rate(ramp.duration_us + 1) == 1.0
    assert ramp.path(ramp.duration_us + 1) == ramp.path_us
    assert ramp.time(1.5) == ramp.time_of_path(ramp.path_us + 1) == ramp.duration_us
    assert ramp.fall_path(1.0) == ramp.path_us


@pytest.mark.parametrize(
    "rows",
    [[], [(0, 0)], [(0, 1), (5, PPM)], [(1, 0), (5, PPM)], [(0, 0), (5, PPM - 1)],
     [(0, 0), (5, 7), (5, PPM)], [(0, 0), (5, 7), (6, 7), (7, PPM)], [(0, 0), (0, PPM)]],
)  # fmt: skip
def test_rows_that_are_no_ramp_are_refused(rows: list[tuple[int, int]]) -> None:
    with pytest.raises(ValueError, match="ramp"):
        Ramp(rows)
