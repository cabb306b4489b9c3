"""The filter behind a hop's trend against one dense Gaussian of all its values, by numpy.

There, level and slope at the first day and all that it strays since have one covariance; the values
are conditioned on at once. The likelihood is the restricted one, by its textbook formula.
"""

from random import Random

import numpy as np
import numpy.typing as npt
import pytest

from coordinator.health.wandering_line import RATIOS, wandering_line

Floats = npt.NDArray[np.float64]


def dense(days: Floats, values: Floats, ratio: float) -> tuple[float, Floats, Floats]:
    """Log likelihood, level and slope at the last day, and their covariance."""
    passed = days - days[0]
    x = np.stack([np.ones_like(passed), passed], axis=1)
    strays = ratio * np.minimum.outer(passed, passed)
    inverse = np.linalg.inv(strays + np.eye(len(days)))
    told = np.linalg.inv(x.T @ inverse @ x)
    line = told @ x.T @ inverse @ values
    left = values - x @ line
    noise = float(left @ inverse @ left) / (len(days) - 2)
    likelihood = -0.5 * (
        (len(days) - 2) * np.log(noise) - np.linalg.slogdet(inverse)[1] - np.linalg.slogdet(told)[1]
    )
    # At the last day: the line, and of what it strays there what the residuals tell.
    last = np.array([[1.0, passed[-1]], [0.0, 1.0]])
    gain = strays[-1] @ inverse
    mean = last @ line + np.array([gain @ left, 0.0])
    of_line = last - np.stack([gain @ x, np.zeros(2)])
    covariance = of_line @ told @ of_line.T
    covariance[0, 0] += strays[-1, -1] - gain @ strays[-1]
    return float(likelihood), mean, noise * covariance


def mixed(days: Floats, values: Floats) -> tuple[Floats, Floats, float]:
    """Over all ratios by their likelihood: the mean, the covariance, what each day adds."""
    found = [dense(days, values, ratio) for ratio in RATIOS]
    likelihoods = np.array([one for one, _, _ in found])
    shares = np.exp(likelihoods - likelihoods.max())
    shares /= shares.sum()
    mean = sum(share * one for share, (_, one, _) in zip(shares, found, strict=True))
    covariance = sum(
        share * (own + np.outer(one - mean, one - mean))
        for share, (_, one, own) in zip(shares, found, strict=True)
    )
    x = days - days[0]
    wanders = 0.0
    for share, ratio in zip(shares, RATIOS, strict=True):
        inverse = np.linalg.inv(ratio * np.minimum.outer(x, x) + np.eye(len(x)))
        both = np.stack([np.ones_like(x), x], axis=1)
        left = values - both @ np.linalg.solve(both.T @ inverse @ both, both.T @ inverse @ values)
        wanders += share * ratio * float(left @ inverse @ left) / (len(x) - 2)
    return np.asarray(mean), np.asarray(covariance), wanders


@pytest.mark.parametrize("strays", [0.0, 0.002, 0.02])
def test_the_line_is_that_of_all_values_at_once(strays: float) -> None:
    random = Random(f"line {strays}")
    days = np.cumsum([random.choice((1.0, 1.0, 2.0, 5.0)) for _ in range(40)])
    level, values = 0.1, []
    for gap in np.diff(days, prepend=days[0]):
        level += 0.003 * gap + strays * np.sqrt(gap) * random.gauss(0.0, 1.0)
        values.append(level + random.gauss(0.0, 0.01))
    found = wandering_line(list(days), values)
    mean, covariance, wanders = mixed(days, np.array(values))
    assert [found.level, found.slope] == pytest.approx(mean, rel=1e-4)
    assert found.level_variance == pytest.approx(covariance[0, 0], rel=1e-3)
    assert found.both == pytest.approx(covariance[0, 1], rel=1e-3)
    assert found.slope_variance == pytest.approx(covariance[1, 1], rel=1e-3)
    assert found.wanders == pytest.approx(wanders, rel=1e-3)
