"""Robust linear least squares: reweighted by its own residuals until it settles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.photo.filters import median

Vector = NDArray[np.float64]
_SIGMA_OF_MEDIAN = 1.4826  # standard deviation over median of the absolute values, if normal


@dataclass(frozen=True)
class RobustFit:
    """Result of `robust_fit`.

    Attributes
    ----------
    values : ndarray, shape (P,)
        Coefficients.
    residual : ndarray, shape (K,)
        Target minus fit.
    robust : ndarray, shape (K,)
        Weights that the residuals give, 1 for those near zero.
    """

    values: Vector
    residual: Vector
    robust: Vector


def cauchy(ratio: Vector) -> Vector:
    """Cauchy's weights, 1 / (1 + t^2)."""
    return np.asarray(1 / (1 + ratio**2))


def cauchy_squared(ratio: Vector) -> Vector:
    """Squares of Cauchy's weights, which pass far outliers over: 1 / (1 + t^2)^2."""
    return np.asarray(1 / (1 + ratio**2) ** 2)


def tukey(ratio: Vector) -> Vector:
    """Tukey's biweight, (1 - t^2)^2 within 1 and zero beyond."""
    return np.asarray(np.clip(1 - ratio**2, 0, None) ** 2)


def robust_sigma(residual: NDArray[np.floating], weight: Vector | None = None) -> float:
    """Standard deviation of normal residuals, from the (weighted) median of their sizes."""
    size = np.abs(residual)
    if weight is None:
        return _SIGMA_OF_MEDIAN * float(median(size))
    if not len(size):
        return 0.0
    order = np.argsort(size)
    total = np.cumsum(weight[order])
    return _SIGMA_OF_MEDIAN * float(size[order[np.searchsorted(total, total[-1] / 2)]])


def robust_sigmas(residual: NDArray[np.floating]) -> Vector:
    """The same of each row, without weights, shape (R,) for residuals of shape (R, K)."""
    return np.asarray(_SIGMA_OF_MEDIAN * median(np.abs(residual), along=True))


def robust_fit(
    design: NDArray[np.float64],
    target: Vector,
    weigh: Callable[[Vector], Vector],
    tolerance: Callable[[Vector], float],
    *,
    weight: Vector | None = None,
    ridge: float,
    rounds: int,
    converged: float = 0.0,
) -> RobustFit:
    """Fit coefficients by iteratively reweighted least squares.

    Parameters
    ----------
    design : ndarray, shape (K, P)
    target : ndarray, shape (K,)
    weigh : callable
        Weights of residuals in units of the tolerance: `cauchy`, `cauchy_squared` or `tukey`.
    tolerance : callable
        From the residuals to the size at which they begin to count for less.
    weight : ndarray, shape (K,), optional
        Inverse variance to a common factor.
    ridge : float
        Share of the mean of the normal matrix's diagonal that is added to it: holds coefficients
        that the data do not reach.
    rounds : int
        Fits at most.
    converged : float
        Change of a coefficient that ends the fit.

    Returns
    -------
    RobustFit
    """
    given = np.ones(len(target)) if weight is None else weight
    robust = np.ones(len(target))
    values: Vector = np.zeros(design.shape[1])
    residual = target
    for _ in range(rounds):
        weighted = design * (given * robust)[:, None]
        normal = weighted.T @ design
        normal += ridge * np.trace(normal) / len(normal) * np.eye(len(normal))
        before = values
        values = np.asarray(np.linalg.solve(normal, weighted.T @ target), float)
        residual = target - design @ values
        robust = weigh(residual / tolerance(residual))
        if np.abs(values - before).max() < converged:
            break
    return RobustFit(values, residual, robust)
