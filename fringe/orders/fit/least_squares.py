"""Two small minimisers: Nelder-Mead without derivatives, and robust least squares.

`scipy.optimize` has both, but importing it takes a sixth of the time of a reading;
tests compare these with it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
_DAMPING, _DAMPING_DECREASE, _DAMPING_INCREASE, _GREATEST_DAMPING = 1e-3, 0.2, 8.0, 1e6


def nelder_mead(
    function: Callable[[Vector], float],
    simplex: NDArray[np.float64],
    point_tolerance: float,
    value_tolerance: float,
    most_calls: int,
) -> tuple[Vector, float]:
    """Minimise without derivatives (Nelder & Mead, Computer Journal 7 (1965) 308, from memory).

    Parameters
    ----------
    function : callable
    simplex : ndarray, shape (N + 1, N)
        Starting points.
    point_tolerance, value_tolerance : float
        Ends when all points and all values are this close to the best.
    most_calls : int
        Function calls after which no further step is begun, those for the first points included.

    Returns
    -------
    point : ndarray, shape (N,)
    value : float
    """
    points = np.array(simplex, float)
    values = np.array([function(point) for point in points])
    calls = len(values)
    while calls < most_calls:
        order = np.argsort(values, kind="stable")
        points, values = points[order], values[order]
        near = np.abs(points[1:] - points[0]).max() <= point_tolerance
        if near and np.abs(values[1:] - values[0]).max() <= value_tolerance:
            break
        middle = points[:-1].mean(axis=0)
        away = middle - points[-1]
        tried = function(middle + away)
        calls += 1
        share = 1.0
        if not values[0] <= tried < values[-2]:
            other = 2.0 if tried < values[0] else 0.5 if tried < values[-1] else -0.5
            value = function(middle + other * away)
            calls += 1
            if value < min(tried, values[-1]):
                share, tried = other, value
            elif other < 1:  # no lower value along the line: shrink the simplex towards the best
                points[1:] = points[0] + (points[1:] - points[0]) / 2
                values[1:] = [function(point) for point in points[1:]]
                calls += len(values) - 1
                continue
        points[-1], values[-1] = middle + share * away, tried
    best = int(values.argmin())
    return points[best], float(values[best])


class Linearised(Protocol):
    """Residuals and Jacobian at one point."""

    @property
    def residuals(self) -> Vector:
        """Residuals, shape (K,)."""

    def jacobian(self) -> NDArray[np.float64]:
        """Derivatives of the residuals, shape (K, P)."""


@dataclass(frozen=True)
class Descent:
    """Result of robust least squares.

    Attributes
    ----------
    point : ndarray, shape (P,)
    residuals : ndarray, shape (K,)
        Residuals at the point.
    cost : float
        Sum of log(1 + (residual / tolerance)^2).
    """

    point: Vector
    residuals: Vector
    cost: float


def robust_least_squares(
    linearise: Callable[[Vector], Linearised],
    start: Vector,
    bounds: tuple[Vector, Vector],
    tolerance: float,
    most_steps: int,
    least_decrease: float = 1e-4,
) -> Descent:
    """Minimise the sum of log(1 + (residual / tolerance)^2), which outliers hardly affect.

    Iteratively reweighted least squares (Cauchy weights) with Marquardt's damping (SIAM J. 11
    (1963) 431, from memory); a coordinate that the gradient pushes against its bound stays there.

    Parameters
    ----------
    linearise : callable
        From P coordinates to K residuals, and their Jacobian where it is needed.
    start : ndarray, shape (P,)
    bounds : pair of ndarray, shape (P,)
    tolerance : float
    most_steps : int
        Steps to try at most.
    least_decrease : float
        Ends when a step lowers the cost by less than this share.

    Returns
    -------
    Descent
    """
    point = np.clip(start, *bounds)
    linearised = linearise(point)
    cost = robust_cost(linearised.residuals, tolerance)
    damping, equations = _DAMPING, None
    for _ in range(most_steps):
        if equations is None:
            rows = linearised.jacobian()
            weighted = rows / (1 + (linearised.residuals / tolerance) ** 2)[:, None]
            equations = weighted.T @ rows, weighted.T @ linearised.residuals
        normal, gradient = equations
        free = ~((point <= bounds[0]) & (gradient > 0) | (point >= bounds[1]) & (gradient < 0))
        reduced = normal[np.ix_(free, free)]
        # a coordinate on which no residual depends must stay where it is
        damped = damping * np.diag(reduced) + 1e-12 * (np.trace(reduced) + 1e-30)
        step = np.zeros_like(point)
        step[free] = np.linalg.solve(reduced + np.diag(damped), gradient[free])
        trial_point = np.clip(point - step, *bounds)
        trial = linearise(trial_point)
        trial_cost = robust_cost(trial.residuals, tolerance)
        if trial_cost < cost:
            lowered = cost - trial_cost
            point, linearised, cost, equations = trial_point, trial, trial_cost, None
            damping *= _DAMPING_DECREASE
            if lowered < least_decrease * cost:
                break
        else:
            damping *= _DAMPING_INCREASE
            if damping > _GREATEST_DAMPING:
                break
    return Descent(point, linearised.residuals, cost)


def robust_cost(residuals: NDArray[np.float64], tolerance: float) -> float:
    """Sum of log(1 + (residual / tolerance)^2)."""
    return float(np.log1p((residuals / tolerance) ** 2).sum())
