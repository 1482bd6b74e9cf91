"""Forms by formulas that are no Zernike terms, and fits of them with noise."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import zernike_matrix, zernike_terms

Array = NDArray[np.float64]
# the terms that a photograph is fitted with
TERMS = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
_PLACES = 3000


def zone(rho: Array, height: float, crest: float, sigma: float) -> Array:
    """A ring that stands so high [fringe]: a Gaussian about a share of the radius."""
    return height * np.exp(-(((rho - crest) / sigma) ** 2) / 2)


def turned(rho: Array, height: float, start: float, power: float) -> Array:
    """An edge that turns up from a share of the radius on, so high at the rim [fringe]."""
    return height * (np.maximum(rho - start, 0.0) / (1 - start)) ** power


def centre(rho: Array, height: float, reach: float) -> Array:
    """A centre so high [fringe], half so high at a share of the radius."""
    return height * 0.5 ** ((rho / reach) ** 2)


def saddle(rho: Array, theta: Array, height: float, axis_deg: float) -> Array:
    """Astigmatism of so much peak to valley [fringe], high along an axis."""
    return height / 2 * rho**2 * np.cos(2 * (theta - np.radians(axis_deg)))


def places() -> tuple[Array, Array]:
    """Places spread evenly over the disc, rho and theta: a sunflower's."""
    k = np.arange(_PLACES)
    return np.sqrt((k + 0.5) / _PLACES), k * np.pi * (3 - np.sqrt(5))


@lru_cache(1)
def _fit() -> tuple[Array, Array, Array]:
    rho, theta = places()
    rows = zernike_matrix(TERMS, rho * np.cos(theta), rho * np.sin(theta))
    inverse = np.linalg.inv(rows.T @ rows)
    return rows, inverse, inverse @ rows.T


def fitted(gap: Array, noise: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Coefficients of a gap at `places`, seen with noise [fringe], and their covariance."""
    _, inverse, from_gap = _fit()
    return from_gap @ (gap + rng.normal(0, noise, _PLACES)), inverse * noise**2
