"""How far a fitted order is off, place by place: quadrature in small windows about the model.

In a window of about a fringe the picture is (1 - light / B) / V = c cos 2 pi g + s sin 2 pi g for a
model g; its phase -atan2(s, c) is the error of the model there, modulo one fringe, and
hypot(c, s) tells whether the window shows fringes at all. Nothing is left out for its residual:
where the model is off by half a fringe every pixel would be.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.orders.fit.field import Array, Field, smooth
from fringe.orders.fit.model import OrderModel

Floats = NDArray[np.float64]
_SIDE = 97  # places across the disc
# weight of no error: few fringes in a window hardly tell cosine and sine apart
_RIDGE = 0.02
_LEVEL_RIDGE = 0.3  # of the window's own level: the light is known
# widths of windows [share of the radius]; each place takes the least that spans its fringes
_WIDTHS = (0.02, 0.03, 0.042)
_SWING_WIDTH = 0.06
_LEAST_PX = 1.5
_COVERED = 0.35  # share of a window with usable pixels, below which nothing is said


@dataclass(frozen=True)
class LocalPhase:
    """Error of a model over a grid of places.

    Attributes
    ----------
    error : ndarray, shape (N, N)
        What the order lacks, within half a fringe of zero until it is unwrapped [fringe]; as
        much to be added to the model. NaN where nothing is known.
    contrast : ndarray, shape (N, N)
        Amplitude of the fringes that the window shows, over that of the fit.
    purity : ndarray, shape (N, N)
        Share of the window's variation that such fringes explain.
    swing : ndarray, shape (N, N)
        Variation of the light about each place, whatever it is, as an amplitude over the fit's.
    u, v : ndarray, shape (N, N)
        Places on the unit disc.
    """

    error: Floats
    contrast: Floats
    purity: Floats
    swing: Floats
    u: Floats
    v: Floats


def grid_stride(field: Field) -> int:
    """Field pixels from one place of the grid of `LocalPhase` to the next."""
    return max(1, round(2 * field.radius_px / _SIDE))


def grid_places(field: Field) -> tuple[Floats, Floats]:
    """Places of the grid of `LocalPhase` on the unit disc, each shape (N, N)."""
    stride = grid_stride(field)
    coarse = (slice(stride // 2, None, stride),) * 2
    return field.u[coarse].astype(float), field.v[coarse].astype(float)


def local_phase(
    field: Field, signal: Array, order: Array, model: OrderModel, window: float = 0.3
) -> LocalPhase:
    """Phase error of a model in small windows.

    Parameters
    ----------
    field : Field
    signal : ndarray of float32, shape of `field.light`
        (1 - light / B) / V, limited; what weight zero has does not count.
    order : ndarray of float32, shape of `field.light`
        Order of the model.
    model : OrderModel
        Sets how wide the windows are.
    window : float
        Width of a window's Gaussian, in local periods.

    Returns
    -------
    LocalPhase
    """
    stride = grid_stride(field)
    u, v = grid_places(field)
    weight = np.where(field.weight > 0, np.float32(1), np.float32(0))
    phase = np.float32(2 * np.pi) * (order - np.round(order))
    cos, sin = weight * np.cos(phase), weight * np.sin(phase)
    kept = np.where(weight > 0, signal, np.float32(0))
    products = [weight, cos, sin, cos * cos, cos * sin, kept, kept * cos, kept * sin, kept * kept]
    cycles = np.hypot(*np.moveaxis(model.frequency(u, v), -1, 0))
    least = _LEAST_PX / field.radius_px
    wanted = np.maximum(window / np.maximum(cycles, 1e-6), least)
    widths = [one for one in _WIDTHS if one > least] or [_WIDTHS[-1]]
    error, contrast, purity = (np.full(u.shape, np.nan) for _ in range(3))
    for place, width in enumerate(widths):
        low = -np.inf if place == 0 else widths[place - 1]
        high = np.inf if place == len(widths) - 1 else width
        here = (wanted > low) & (wanted <= high)
        if not here.any():
            continue
        sums = [smooth(part, width * field.radius_px, stride)[here] for part in products]
        error[here], contrast[here], purity[here] = _quadrature(sums)
    return LocalPhase(error, contrast, purity, _swing(field, weight, kept, stride), u, v)


def _swing(field: Field, weight: Array, signal: Array, stride: int) -> Floats:
    """Amplitude of a cosine that varies as much as the signal does in wide windows."""
    width = _SWING_WIDTH * field.radius_px
    w, y, yy = (
        smooth(part, width, stride).astype(float) for part in (weight, signal, signal * signal)
    )
    w = np.maximum(w, 1e-3)
    return np.asarray(np.sqrt(np.maximum(2 * (yy / w - (y / w) ** 2), 0)))


def _quadrature(sums: list[Array]) -> tuple[Floats, Floats, Floats]:
    """Error, contrast and purity from windowed sums of the products."""
    w, c, s, cc, cs, y, yc, ys, yy = (one.astype(float) for one in sums)
    good = w > _COVERED
    w = np.maximum(w, _COVERED)
    ss = w - cc
    normal = np.empty((len(w), 3, 3))
    for row, parts in enumerate(((w * (1 + _LEVEL_RIDGE), c, s), (c, cc, cs), (s, cs, ss))):
        for column, part in enumerate(parts):
            normal[:, row, column] = part
    normal[:, 1, 1] += _RIDGE * w
    normal[:, 2, 2] += _RIDGE * w
    side = np.stack([y, yc + _RIDGE * w, ys], axis=-1)
    level, of_cos, of_sin = np.linalg.solve(normal, side[..., None])[..., 0].T
    explained = level * y + of_cos * yc + of_sin * ys
    error = np.where(good, -np.arctan2(of_sin, of_cos) / (2 * np.pi), np.nan)
    return error, np.hypot(of_cos, of_sin), np.clip(explained / np.maximum(yy, 1e-9), 0, 1)


def unwrapped(local: LocalPhase, reliability: Floats, least: float) -> Floats:
    """Errors made continuous, the surest places first; NaN where they are not reached.

    Flood fill by priority from the surest place, as in Ghiglia & Pritt, Two-Dimensional Phase
    Unwrapping (1998), section 4.2 (from memory).

    Parameters
    ----------
    local : LocalPhase
    reliability : ndarray, shape (N, N)
    least : float
        Reliability below which no place is taken.
    """
    error = local.error
    usable = np.isfinite(error) & (reliability >= least)
    found = np.full(error.shape, np.nan)
    if not usable.any():
        return found
    # plain numbers in lists: one place at a time, which arrays are slow at
    errors, sure, free = (one.ravel().tolist() for one in (error, reliability, usable))
    count, columns = error.size, error.shape[1]
    first = int(np.argmax(np.where(usable, reliability, -1)))
    waiting = [(-sure[first], first, errors[first])]
    while waiting:
        _, place, near = heapq.heappop(waiting)
        if not free[place]:
            continue
        free[place] = False
        here = errors[place] + round(near - errors[place])
        found.flat[place] = here
        column = place % columns
        for beside, inside in (
            (place - columns, place >= columns),
            (place + columns, place + columns < count),
            (place - 1, column > 0),
            (place + 1, column < columns - 1),
        ):
            if inside and free[beside]:
                heapq.heappush(waiting, (-sure[beside], beside, here))
    return found
