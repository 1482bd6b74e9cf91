"""Two small minimisers, of a function without slopes and of robust least squares.

`scipy.optimize` has both, but to import it takes a sixth of the time that a photograph is read in;
the tests hold these against it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
_DAMPING, _EASED, _STIFFENED, _MOST_DAMPING = 1e-3, 0.2, 8.0, 1e6


def downhill(
    function: Callable[[Vector], float],
    simplex: NDArray[np.float64],
    within: float,
    alike: float,
    most: int,
) -> tuple[Vector, float]:
    """Minimise by the simplex of Nelder and Mead (Computer Journal 7 (1965) 308, from memory).

    Parameters
    ----------
    function : callable
    simplex : ndarray, shape (N + 1, N)
        Points to start from.
    within, alike : float
        How near the points and their values must be to the best to end.
    most : int
        Calls of the function after which no other step is begun, the first points' included.

    Returns
    -------
    point : ndarray, shape (N,)
    value : float
    """
    points = np.array(simplex, float)
    values = np.array([function(point) for point in points])
    calls = len(values)
    while calls < most:
        order = np.argsort(values, kind="stable")
        points, values = points[order], values[order]
        near = np.abs(points[1:] - points[0]).max() <= within
        if near and np.abs(values[1:] - values[0]).max() <= alike:
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
            elif other < 1:  # neither farther nor nearer is it lower: draw all towards the best
                points[1:] = points[0] + (points[1:] - points[0]) / 2
                values[1:] = [function(point) for point in points[1:]]
                calls += len(values) - 1
                continue
        points[-1], values[-1] = middle + share * away, tried
    best = int(values.argmin())
    return points[best], float(values[best])


class Looked(Protocol):
    """A problem of least squares as it looks from some place."""

    @property
    def left(self) -> Vector:
        """Residuals, shape (K,)."""

    def slopes(self) -> NDArray[np.float64]:
        """Their derivatives, shape (K, P)."""


@dataclass(frozen=True)
class Descent:
    """Where robust least squares came to.

    Attributes
    ----------
    at : ndarray, shape (P,)
    left : ndarray, shape (K,)
        Residuals there.
    cost : float
        Sum of log(1 + (residual / tolerance)^2).
    """

    at: Vector
    left: Vector
    cost: float


def robust_descent(
    look: Callable[[Vector], Looked],
    start: Vector,
    bounds: tuple[Vector, Vector],
    tolerance: float,
    rounds: int,
    least: float = 1e-4,
) -> Descent:
    """Minimise the sum of log(1 + (residual / tolerance)^2): least squares that dirt hardly pulls.

    Weighted again and again (Cauchy's weights), with Marquardt's damping (SIAM J. 11 (1963) 431,
    from memory); a coordinate at a bound that it is pushed against rests there.

    Parameters
    ----------
    look : callable
        Of P coordinates: K residuals, and their derivatives where these are asked for.
    start : ndarray, shape (P,)
    bounds : pair of ndarray, shape (P,)
    tolerance : float
    rounds : int
        Most steps that are tried.
    least : float
        Share of the cost by which a step must lower it, else it is the last.

    Returns
    -------
    Descent
    """
    at = np.clip(start, *bounds)
    here = look(at)
    cost = robust_cost(here.left, tolerance)
    damping, told = _DAMPING, None
    for _ in range(rounds):
        if told is None:
            rows = here.slopes()
            weighted = rows / (1 + (here.left / tolerance) ** 2)[:, None]
            told = weighted.T @ rows, weighted.T @ here.left
        normal, gradient = told
        free = ~((at <= bounds[0]) & (gradient > 0) | (at >= bounds[1]) & (gradient < 0))
        held = normal[np.ix_(free, free)]
        # a coordinate of which nothing tells must not be carried away
        brake = damping * np.diag(held) + 1e-12 * (np.trace(held) + 1e-30)
        step = np.zeros_like(at)
        step[free] = np.linalg.solve(held + np.diag(brake), gradient[free])
        there = np.clip(at - step, *bounds)
        seen = look(there)
        cost_there = robust_cost(seen.left, tolerance)
        if cost_there < cost:
            lowered = cost - cost_there
            at, here, cost, told = there, seen, cost_there, None
            damping *= _EASED
            if lowered < least * cost:
                break
        else:
            damping *= _STIFFENED
            if damping > _MOST_DAMPING:
                break
    return Descent(at, here.left, cost)


def robust_cost(left: NDArray[np.float64], tolerance: float) -> float:
    """Sum of log(1 + (residual / tolerance)^2)."""
    return float(np.log1p((left / tolerance) ** 2).sum())
