"""A distribution of one number: a mixture of normal ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Array = NDArray[np.float64]

# A quantile is searched on a grid, three times on a finer one about it, and interpolated there.
_STEPS = 14
_REFINED = 4


@dataclass(frozen=True, eq=False)
class Distribution:
    """A mixture of normal distributions.

    Attributes
    ----------
    weights : ndarray, shape (K,)
        They add up to one.
    means, sds : ndarray, shape (K,)
        Of each part, in one unit.
    """

    weights: Array
    means: Array
    sds: Array

    @property
    def mean(self) -> float:
        """Its mean."""
        return float(self.weights @ self.means)

    @property
    def u(self) -> float:
        """Its standard deviation."""
        spread = self.sds**2 + (self.means - self.mean) ** 2
        return math.sqrt(float(self.weights @ spread))

    @property
    def median(self) -> float:
        """Its median."""
        return self.quantile(0.5)

    def below(self, value: float) -> float:
        """Probability of less than a value."""
        return float(self.weights @ ndtr((value - self.means) / self._sds))

    def chance_between(self, low: float, high: float) -> float:
        """Probability of a value between two."""
        above = self.weights @ ndtr((self.means - high) / self._sds)
        return float(min(1.0, max(0.0, 1.0 - above - self.below(low))))

    def quantile(self, share: float) -> float:
        """Value that is exceeded with probability 1 - `share`."""
        return float(self._quantiles(np.array([share]))[0])

    def quantiles(self, shares: Sequence[float]) -> list[float]:
        """Several of them at once."""
        found: list[float] = self._quantiles(np.array(shares)).tolist()
        return found

    def interval(self, share: float = 0.9) -> tuple[float, float]:
        """Ends that are exceeded with equal probability either way."""
        tail = (1 - share) / 2
        low, high = self._quantiles(np.array([tail, 1 - tail]))
        return float(low), float(high)

    def draws(self, count: int) -> Array:
        """Middle quantiles of equal shares, ascending: the same every time."""
        return self._quantiles((np.arange(count) + 0.5) / count)

    @property
    def _sds(self) -> Array:
        return np.maximum(self.sds, 1e-12)

    def _quantiles(self, shares: Array) -> Array:
        if len(self.means) == 1:
            one: Array = self.means[0] + self.sds[0] * ndtri(shares)
            return one
        reach = ndtri(np.clip(shares, 1e-12, 1 - 1e-12))[:, None]
        ends = self.means + self._sds * reach
        low, high = ends.min(axis=1), ends.max(axis=1)
        grid = np.linspace(0.0, 1.0, _STEPS + 1)
        rows = np.arange(len(shares))
        for _ in range(_REFINED):
            points = low[:, None] + (high - low)[:, None] * grid
            reached = ndtr((points[..., None] - self.means) / self._sds) @ self.weights
            reached[:, 0] = np.minimum(reached[:, 0], shares)
            place = np.clip(np.sum(reached <= shares[:, None], axis=1) - 1, 0, _STEPS - 1)
            low, high = points[rows, place], points[rows, place + 1]
        below, above = reached[rows, place], reached[rows, place + 1]
        gained = np.where(above > below, above - below, 1.0)
        found: Array = low + (high - low) * np.clip((shares - below) / gained, 0.0, 1.0)
        return found
