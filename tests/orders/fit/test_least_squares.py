"""The two minimisers, against those of scipy.optimize."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize

from fringe.orders.fit.least_squares import nelder_mead, robust_least_squares

Vector = NDArray[np.float64]


@pytest.mark.parametrize("size", [2, 5])
def test_nelder_mead_goes_as_scipy_does(size: int, rng: np.random.Generator) -> None:
    """Rosenbrock's valley: the same lowest point after as many calls as Nelder-Mead of scipy."""
    start = rng.normal(0, 1, size)
    simplex = np.concatenate([start[None], start + 0.5 * np.eye(size)])
    calls = []

    def valley(at: Vector) -> float:
        calls.append(at)
        return float(optimize.rosen(at))

    point, value = nelder_mead(valley, simplex, 1e-7, 1e-10, 5000)
    options = {"initial_simplex": simplex, "xatol": 1e-7, "fatol": 1e-10, "maxfev": 5000}
    other = optimize.minimize(optimize.rosen, start, method="Nelder-Mead", options=options)
    assert value == optimize.rosen(point)
    assert abs(len(calls) - other.nfev) <= 0.05 * other.nfev
    np.testing.assert_allclose(point, other.x, atol=1e-5)


def test_nelder_mead_ends_at_its_count(rng: np.random.Generator) -> None:
    """It stops at the calls allowed, with the best of the points that it saw."""
    simplex = rng.normal(0, 1, (5, 4))
    seen = []

    def bowl(at: Vector) -> float:
        seen.append(float(at @ at))
        return seen[-1]

    _, value = nelder_mead(bowl, simplex, 0.0, 0.0, 40)
    assert value == min(seen)
    assert 40 <= len(seen) <= 46  # a step that is begun is ended


class Line:
    """Residuals of an exponential decay and their Jacobian at one point."""

    def __init__(self, at: Vector, x: Vector, y: Vector) -> None:
        self.at, self.x, self.y = at, x, y

    @property
    def residuals(self) -> Vector:
        return self.at[0] * np.exp(-self.at[1] * self.x) - self.y

    def jacobian(self) -> NDArray[np.float64]:
        falling = np.exp(-self.at[1] * self.x)
        return np.stack([falling, -self.at[0] * self.x * falling], axis=1)


@pytest.mark.parametrize("most", [np.inf, 1.1])
def test_robust_least_squares_ends_where_scipy_does(most: float, rng: np.random.Generator) -> None:
    """A decay with outliers, free and held by a bound: as least_squares with Cauchy's loss."""
    x = np.linspace(0, 2, 80)
    y = 2.0 * np.exp(-1.4 * x) + rng.normal(0, 0.02, x.size)
    y[rng.choice(80, 12, replace=False)] += rng.uniform(0.5, 2, 12)
    bounds = (np.array([0.0, 0.0]), np.array([np.inf, most]))
    start = np.array([1.0, 0.6])

    found = robust_least_squares(
        lambda p: Line(p, x, y), start, bounds, 0.04, 60, least_decrease=1e-12
    )
    other = optimize.least_squares(
        lambda p: Line(p, x, y).residuals,
        start,
        lambda p: Line(p, x, y).jacobian(),
        bounds,
        loss="cauchy",
        f_scale=0.04,
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    np.testing.assert_allclose(found.point, other.x, atol=1e-4)
    # scipy counts half of it, times the square of the scale
    assert found.cost == pytest.approx(2 * other.cost / 0.04**2, rel=1e-6)
    np.testing.assert_array_equal(found.residuals, Line(found.point, x, y).residuals)


def test_a_coordinate_of_which_nothing_tells_stays() -> None:
    """A third coordinate that no residual depends on is not carried away."""
    x = np.linspace(0, 2, 30)

    class Idle(Line):
        def jacobian(self) -> NDArray[np.float64]:
            return np.column_stack([super().jacobian(), np.zeros(x.size)])

    bounds = (np.full(3, -np.inf), np.full(3, np.inf))
    found = robust_least_squares(
        lambda p: Idle(p, x, 3 * np.exp(-x)), np.array([1.0, 0.5, 7.0]), bounds, 1.0, 80, 1e-15
    )
    np.testing.assert_allclose(found.point, [3, 1, 7], atol=1e-3)
