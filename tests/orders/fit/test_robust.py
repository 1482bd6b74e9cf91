"""Robust linear least squares."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.orders.fit.robust import cauchy, cauchy_squared, robust_fit, robust_sigma, tukey


@pytest.mark.parametrize("weigh", [cauchy, cauchy_squared, tukey])
def test_outliers_do_not_move_a_line(weigh, rng):
    """A fifth of the points far off to one side moves a line by less than its noise (analytic)."""
    x = np.linspace(-1, 1, 400)
    y = 0.3 + 2 * x + rng.normal(0, 0.01, x.size)
    far = rng.random(x.size) < 0.2
    y[far] += rng.uniform(1, 5, far.sum())
    design = np.column_stack([np.ones_like(x), x])
    fit = robust_fit(design, y, weigh, lambda r: 3 * robust_sigma(r), ridge=0.0, rounds=40)
    np.testing.assert_allclose(fit.values, [0.3, 2], atol=0.01)
    assert fit.robust[far].max() < 0.05 < 0.5 < np.median(fit.robust[~far])
    plain = np.linalg.lstsq(design, y, rcond=None)[0]
    assert abs(plain[0] - 0.3) > 0.1


def test_without_tolerance_it_is_plain_weighted_least_squares(rng):
    """A tolerance far beyond every residual gives the weighted solution (analytic)."""
    design, target = rng.normal(size=(50, 3)), rng.normal(size=50)
    weight = rng.uniform(0.1, 2, 50)
    root = np.sqrt(weight)
    want = np.linalg.lstsq(design * root[:, None], target * root, rcond=None)[0]
    fit = robust_fit(design, target, tukey, lambda _: 1e9, weight=weight, ridge=0.0, rounds=3)
    np.testing.assert_allclose(fit.values, want, atol=1e-9)


def test_sigma_of_normal_residuals(rng):
    """The median's sigma of normal residuals is theirs, weighted evenly or not (analytic)."""
    residual = rng.normal(0, 0.2, 20001)
    assert robust_sigma(residual) == pytest.approx(0.2, rel=0.03)
    even = robust_sigma(residual, np.ones_like(residual))
    assert even == pytest.approx(robust_sigma(residual), rel=1e-12)
    # the second half, twice as wide, does not count
    residual[10000:] *= 2
    weight = np.where(np.arange(residual.size) < 10000, 1.0, 0.0)
    assert robust_sigma(residual, weight) == pytest.approx(0.2, rel=0.04)
