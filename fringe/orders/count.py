"""Count rings as a person would: whole dark rings from the fringe centre outwards."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.orders.demod import OrderModel
from fringe.orders.field import Field


def fringe_centre(model: OrderModel) -> NDArray[np.float64] | None:
    """Find where the order is stationary: the middle of closed rings.

    Returns
    -------
    ndarray, shape (2,), or None
        Place on the unit disc; None when it lies outside, or is a saddle.
    """
    place = np.zeros(2)
    for _ in range(30):
        f = model.frequency(place[:1], place[1:])[0]
        h = _hessian(model, place)
        if abs(np.linalg.det(h)) < 1e-6:
            return None
        step = np.linalg.solve(h, -f)
        size = float(np.linalg.norm(step))
        place = place + step * min(1.0, 0.5 / max(size, 1e-12))
        if np.linalg.norm(place) > 3:
            return None
        if size < 1e-9:
            break
    if np.linalg.norm(place) >= 1 or np.linalg.det(_hessian(model, place)) <= 0:
        return None
    return place


def _hessian(model: OrderModel, place: NDArray[np.float64]) -> NDArray[np.float64]:
    d = 1e-4
    columns = []
    for step in ((d, 0.0), (0.0, d)):
        ahead = model.frequency(np.array([place[0] + step[0]]), np.array([place[1] + step[1]]))[0]
        back = model.frequency(np.array([place[0] - step[0]]), np.array([place[1] - step[1]]))[0]
        columns.append((ahead - back) / (2 * d))
    return np.stack(columns, axis=1)


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
    inverse = np.linalg.inv(field.unit_from_px)
    best = 0
    along = np.linspace(0, 2, 801)[1:]
    for angle in np.linspace(0, 2 * np.pi, 72, endpoint=False):
        u, v = centre[0] + along * np.cos(angle), centre[1] + along * np.sin(angle)
        inside = u * u + v * v <= 1
        u, v = u[inside].astype(np.float32), v[inside].astype(np.float32)
        x, y = inverse @ np.stack([u - field.u[0, 0], v - field.v[0, 0]])
        rows, columns = np.rint(y).astype(int), np.rint(x).astype(int)
        framed = (rows >= 0) & (columns >= 0)
        framed &= (rows < field.light.shape[0]) & (columns < field.light.shape[1])
        if not framed.any():
            continue
        u, v = u[framed], v[framed]
        usable = field.weight[rows[framed], columns[framed]] > 0
        order = model.order(u, v)
        start = float(model.order(centre[:1].astype(np.float32), centre[1:].astype(np.float32))[0])
        levels = np.floor(np.concatenate([[start], order]))
        crossed = np.abs(np.diff(levels))
        # a ring under a clip or a glare is counted from its neighbours, not lost
        best = max(best, int(crossed.sum() if usable.mean() > 0.5 else crossed[usable].sum()))
    return best
