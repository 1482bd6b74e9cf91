"""What the pixels of a field leave of the fringes' contrast."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import Term, zernike_gradients
from fringe.orders.fit.field import Array
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels
from fringe.photo.filters import bilinear

_SIDE = 41  # places across the disc at which the fringes' frequency is worked out


def blur(pixels: Pixels, model: OrderModel) -> Array:
    """Contrast left by averaging over a field pixel (sinc of the local frequency)."""
    if pixels.scale == 1:
        return np.ones_like(pixels.u)
    f = pixels.unit_from_px.T @ (_square_slopes(model.terms) @ model.values)
    coarse = (np.sinc(f[0]) * np.sinc(f[1])).astype(np.float32).reshape(_SIDE, _SIDE)
    index = [(w + 1) * np.float32((_SIDE - 1) / 2) for w in (pixels.v, pixels.u)]
    return np.asarray(bilinear(coarse, *index))


@lru_cache(16)
def _square_slopes(terms: tuple[Term, ...]) -> NDArray[np.float64]:
    """Derivatives over a coarse grid about the disc, shape (2, K, T)."""
    side = np.linspace(-1, 1, _SIDE)
    u, v = np.meshgrid(side, side)
    return zernike_gradients(terms, u.ravel(), v.ravel())
