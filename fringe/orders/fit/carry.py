"""An order on other terms or another disc: least-squares projection."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form import disc_grid
from fringe.optics.local_terms import broad_places
from fringe.optics.zernike import Term, zernike_matrix, zernike_sum
from fringe.orders.fit.model import OrderModel
from fringe.photo.ellipse import Edge


def carried(model: OrderModel, old: Edge, new: Edge) -> OrderModel:
    """Express a model over one aperture on the unit disc of another.

    Its local terms go with the disc: they are features of the work, not of the place.
    """
    broad = broad_places(model.terms)
    terms, values = tuple(model.terms[k] for k in broad), model.values.copy()
    u, v, from_order = projection(terms)
    order = zernike_sum(terms, values[broad], *old.unit(*new.pixels(u, v)))
    values[broad] = from_order @ order.ravel()
    return OrderModel(model.terms, values)


@lru_cache(8)
def projection(
    terms: tuple[Term, ...],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Places on the unit disc, and the least-squares projection from orders to coefficients."""
    u, v, weight = disc_grid(24, 48)
    rows = zernike_matrix(terms, u, v).reshape(-1, len(terms))
    weighted = rows * (weight + 1e-9).reshape(-1, 1)
    # the terms are nearly orthogonal over the disc, so the normal equations are well conditioned
    return u, v, np.asarray(np.linalg.solve(weighted.T @ rows, weighted.T), float)
