"""Count rings as a person would: whole dark rings from the fringe centre outwards."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.field import Field
from fringe.orders.fit.model import OrderModel


def fringe_centre(model: OrderModel) -> NDArray[np.float64] | None:
    """Find where the order is stationary: the middle of closed rings.

    Returns
    -------
    ndarray, shape (2,), or None
        Place on the unit disc; None when it lies outside, or is a saddle.
    """
    place = np.zeros(2)
    for _ in range(30):
        f, h = _slope_and_bend(model, place)
        if abs(np.linalg.det(h)) < 1e-6:
            return None
        step = np.linalg.solve(h, -f)
        size = float(np.linalg.norm(step))
        place = place + step * min(1.0, 0.5 / max(size, 1e-12))
        if np.linalg.norm(place) > 3:
            return None
        if size < 1e-9:
            break
    if np.linalg.norm(place) >= 1 or np.linalg.det(_slope_and_bend(model, place)[1]) <= 0:
        return None
    return place


def _slope_and_bend(
    model: OrderModel, place: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gradient (2,) and Hessian (2, 2) of the order at a place."""
    d = 1e-4
    u, v = place[:, None] + d * np.array([[0, 1, -1, 0, 0], [0, 0, 0, 1, -1]])
    f = model.frequency(u, v)
    return f[0], np.stack([f[1] - f[2], f[3] - f[4]], axis=1) / (2 * d)


def count_rings(model: OrderModel, field: Field) -> int | None:
    """Count whole dark rings from the fringe centre along the clearest radius.

    The clearest radius is the one that crosses most rings on usable pixels.

    Parameters
    ----------
    model : OrderModel
        Dark fringes at whole orders.
    field : Field
        Tells which pixels are usable and where the frame ends.

    Returns
    -------
    int or None
        None when no fringe centre lies in the aperture.
    """
    centre = fringe_centre(model)
    if centre is None:
        return None
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)[:, None]
    along = np.linspace(0, 2, 801)
    u, v = (centre[k] + along * f(angle) for k, f in enumerate((np.cos, np.sin)))
    inside = u * u + v * v <= 1
    x, y = np.tensordot(
        np.linalg.inv(field.unit_from_px), [u - field.u[0, 0], v - field.v[0, 0]], 1
    )
    rows, columns = np.rint(y).astype(int), np.rint(x).astype(int)
    framed = (rows >= 0) & (columns >= 0) & inside
    framed &= (rows < field.light.shape[0]) & (columns < field.light.shape[1])
    level = np.zeros(u.shape)
    level[inside] = np.floor(model.order(*(w[inside].astype(np.float32) for w in (u, v))))
    best = 0
    for ray, on in enumerate(framed[:, 1:]):
        if not on.any():
            continue
        usable = field.weight[rows[ray, 1:][on], columns[ray, 1:][on]] > 0
        crossed = np.abs(np.diff(np.concatenate([level[ray, :1], level[ray, 1:][on]])))
        # a ring under a clip or a glare is counted from its neighbours, not lost
        best = max(best, int(crossed.sum() if usable.mean() > 0.5 else crossed[usable].sum()))
    return best
