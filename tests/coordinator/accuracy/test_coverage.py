"""How many standard uncertainties two figures may be apart, by how few readings they come from."""

import pytest
from scipy.stats import t

from coordinator.accuracy.coverage import coverage


@pytest.mark.parametrize("freedom", [*range(1, 21), 30, 100])
def test_the_factor_is_students_t_for_95_percent_as_scipy_has_it(freedom: int) -> None:
    assert coverage(freedom) == pytest.approx(
        t.ppf(0.975, freedom), abs=0.006 if freedom < 21 else 0.11
    )
