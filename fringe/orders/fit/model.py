"""Fringe order over the aperture as a sum of Zernike terms."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.zernike import Term, zernike_gradients, zernike_rows, zernike_sum_on_grid
from fringe.orders.fit.field import Array

Vector = NDArray[np.float64]
_AT_ONCE = 1 << 13  # places whose terms stay in the processor's own memory


@dataclass(frozen=True)
class OrderModel:
    """Fringe order over the disc as a sum of Zernike terms; dark fringes at whole orders.

    Attributes
    ----------
    terms : tuple of (n, m)
    values : ndarray, shape (T,)
        Coefficients [fringe as seen].
    """

    terms: tuple[Term, ...]
    values: Vector

    def order(self, u: Array, v: Array) -> Array:
        """Order at each point, shape of `u`."""
        flat_u, flat_v = u.ravel(), v.ravel()
        found = np.empty(flat_u.shape, np.float32)
        values = self.values.astype(np.float32)
        for start in range(0, found.size, _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            found[part] = values @ zernike_rows(self.terms, flat_u[part], flat_v[part])
        return found.reshape(u.shape)

    def order_on_grid(self, u: Array, v: Array) -> Array:
        """Order over places that are linear in row and column, shape of `u`."""
        return zernike_sum_on_grid(self.terms, self.values, u, v).astype(np.float32)

    def widened(self, terms: tuple[Term, ...]) -> OrderModel:
        """Return the same order on other terms; new ones start at zero, missing ones drop."""
        known = dict(zip(self.terms, self.values, strict=True))
        return OrderModel(terms, np.array([known.get(term, 0.0) for term in terms]))

    def value(self, n: int, m: int) -> float:
        """Coefficient of one term, zero when the model lacks it."""
        return dict(zip(self.terms, (float(x) for x in self.values), strict=True)).get((n, m), 0.0)

    @property
    def power(self) -> float:
        """Order at the rim minus that in the middle, of the best-fit paraboloid."""
        return 2 * self.value(2, 0)

    def frequency(self, u: Vector, v: Vector) -> NDArray[np.float64]:
        """Gradient of the order [cycles / unit], shape (..., 2)."""
        return np.moveaxis(zernike_gradients(self.terms, u, v) @ self.values, 0, -1)

    def span(self) -> float:
        """Greatest less least order on the disc [fringe]."""
        u, v, _ = disc_grid(16, 48)
        return float(np.ptp(self.order(u.astype(np.float32), v.astype(np.float32))))

    def steepest(self) -> float:
        """Greatest frequency on the disc [cycles / unit]."""
        return float(np.hypot(*(_outer_slopes(self.terms) @ self.values)).max())

    def apart(self, other: OrderModel) -> float:
        """Bound on the difference of two orders anywhere, whole orders and sign aside [fringe]."""
        terms = tuple(dict.fromkeys((*self.terms, *other.terms)))
        one, two = self.widened(terms).values, other.widened(terms).values
        piston = terms.index((0, 0))

        def bound(difference: NDArray[np.float64]) -> float:
            difference[piston] -= np.round(difference[piston])
            return float(np.abs(difference).sum())  # no term exceeds one on the disc

        return min(bound(one - two), bound(one + two))


@lru_cache(32)
def _outer_slopes(terms: tuple[Term, ...]) -> NDArray[np.float64]:
    """Derivatives along u and v over the disc outside its middle, shape (2, K, T)."""
    rho, angle = np.meshgrid(np.linspace(0.3, 1, 8), np.linspace(0, 2 * np.pi, 48))
    return zernike_gradients(terms, (rho * np.cos(angle)).ravel(), (rho * np.sin(angle)).ravel())
