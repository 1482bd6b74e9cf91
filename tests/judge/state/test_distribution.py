"""Mixtures of normal distributions: their moments, quantiles and chances."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from fringe.judge.state.distribution import Distribution


def test_one_part_is_the_normal() -> None:
    """Analytic: a single part has the normal's quantiles."""
    one = Distribution(np.ones(1), np.array([2.0]), np.array([0.5]))
    assert one.interval(0.9) == pytest.approx(stats.norm(2.0, 0.5).interval(0.9))
    assert one.chance_between(1.5, 2.5) == pytest.approx(0.6827, abs=1e-4)


@pytest.mark.parametrize("share", [0.001, 0.05, 0.3, 0.5, 0.77, 0.95, 0.9999])
def test_quantiles_of_a_mixture(share: float, rng: np.random.Generator) -> None:
    """A quantile is where the sum of the parts' distributions reaches its share (SciPy's root)."""
    weights = rng.dirichlet(np.ones(12))
    means, sds = rng.normal(0, 5, 12), rng.uniform(0.01, 3.0, 12)
    one = Distribution(weights, means, sds)

    def over(value: float) -> float:
        return float(weights @ stats.norm(means, sds).cdf(value) - share)

    assert one.quantile(share) == pytest.approx(optimize.brentq(over, -100, 100), abs=2e-3)
    assert one.below(one.quantile(share)) == pytest.approx(share, abs=1e-4)


def test_moments_of_a_mixture() -> None:
    """Analytic: mean and standard deviation of two parts; draws are as many quantiles."""
    one = Distribution(np.array([0.25, 0.75]), np.array([4.0, 0.0]), np.array([1.0, 2.0]))
    assert one.mean == pytest.approx(1.0)
    assert one.u == pytest.approx(np.sqrt(0.25 * (1 + 9) + 0.75 * (4 + 1)))
    draws = one.draws(4001)
    assert np.all(np.diff(draws) >= 0)
    assert draws.mean() == pytest.approx(1.0, abs=0.01)
    assert draws.std() == pytest.approx(one.u, rel=0.01)
