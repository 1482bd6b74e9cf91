"""A first model where fringes are too few for local frequencies: a search on a grid of shapes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import Term, zernike_rows, zernike_terms
from fringe.orders.fit.field import Array, Field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels, pixels_of

Vector = NDArray[np.float64]


_MOST_RADIUS_PX, _MOST_PIXELS = 44.0, 1500  # of what shapes are held against
# pixels against which all are held first, of which the best so many are held against the others too
_FEWER_PIXELS, _KEPT = 500, 1500
_AT_ONCE = 256  # shapes whose fringes stay in the processor's own memory
_LOW: tuple[Term, ...] = ((1, 1), (1, -1), (2, 0), (2, 2), (2, -2))
_THIRD_ORDER: tuple[Term, ...] = ((3, 1), (3, -1), (4, 0))
# sizes of coma and spherical that are tried, as Zernike coefficients [fringe], and directions of
# coma; by what a difference of each is multiplied to count as one of power or tilt
_COMA, _SPHERICAL, _DIRECTIONS = (0.4, 0.8), (-0.5, -0.25, 0.25, 0.5), 8
_COMA_COUNTS, _SPHERICAL_COUNTS = 2.0, 4.0
_NEAR = 0.95  # greatest difference of shapes that count as one [fringe]


def few_fringe_starts(
    field: Field,
    most_power: float = 7.0,
    most_tilt: float = 7.0,
    keep: int = 6,
    *,
    third_order: bool = False,
) -> list[tuple[OrderModel, float]]:
    """Best sums of tilt, power and astigmatism, with the share of variation they explain.

    Every combination on a grid is tried: cosine and sine of its phase, cleared of slowly
    varying light, are projected on the picture.

    Parameters
    ----------
    field : Field
    most_power, most_tilt : float
        Bounds of the search [fringe].
    keep : int
        Number of distinct candidates to return, best first.
    third_order : bool
        Sums of little tilt and power with coma or spherical instead, on terms to degree four.
    """
    while field.radius_px > _MOST_RADIUS_PX:
        field = field.half
    grid = _third_order_grid(most_power, most_tilt) if third_order else _grid(most_power, most_tilt)
    for most, kept in ((_FEWER_PIXELS, _KEPT), (_MOST_PIXELS, len(grid))):
        shares = _explained_by(grid, pixels_of(field, most))
        best = np.argsort(shares)[::-1][:kept]
        grid, shares = grid[best], shares[best]
    return _distinct(grid, shares, keep)


def _explained_by(grid: NDArray[np.float64], pixels: Pixels) -> Vector:
    """Share of the picture's variation that each row's fringes explain."""
    background = zernike_rows(zernike_terms(2), pixels.u, pixels.v)
    weight = np.sqrt(pixels.weight)
    q = np.linalg.qr((background * weight).T.astype(np.float64))[0].astype(np.float32)
    light = pixels.light * weight
    light = light - q @ (q.T @ light)
    total = float(light @ light) + 1e-30
    level = np.maximum(
        np.linalg.lstsq(background[:3].T, pixels.light, rcond=None)[0] @ background[:3], 1e-3
    )
    shares = np.empty(len(grid))
    for first in range(0, len(grid), _AT_ONCE):
        part = grid[first : first + _AT_ONCE].astype(np.float32)
        shares[first : first + _AT_ONCE] = _shares(part, pixels, weight * level, q, light) / total
    return shares


def _grid(most_power: float, most_tilt: float) -> NDArray[np.float64]:
    """Rows (tilt u, tilt v, power, astigmatism cos, astigmatism sin) [fringe]."""
    plain = _spheres(most_power, most_tilt)
    near = _near(plain)
    bent = []
    for size in (0.6, 1.2):
        for angle in np.arange(0, 2 * np.pi, np.pi / 3):
            extra = near.copy()
            extra[:, 3], extra[:, 4] = size * np.cos(angle), size * np.sin(angle)
            bent.append(extra)
    return np.concatenate([plain, *bent])


def _third_order_grid(most_power: float, most_tilt: float) -> NDArray[np.float64]:
    """The same rows, of little tilt and power, with coma u, coma v and spherical [fringe]."""
    near = np.pad(_near(_spheres(most_power, most_tilt)), ((0, 0), (0, len(_THIRD_ORDER))))
    turns = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    bends = [(size * np.cos(turn), size * np.sin(turn), 0.0) for size in _COMA for turn in turns]
    bends += [(0.0, 0.0, size) for size in _SPHERICAL]
    grid = np.tile(near, (len(bends), 1))
    grid[:, len(_LOW) :] = np.repeat(bends, len(near), axis=0)
    return grid


def _spheres(most_power: float, most_tilt: float) -> NDArray[np.float64]:
    """Rows of tilt and power alone, with room for astigmatism."""
    tilt = np.arange(-most_tilt, most_tilt + 0.1, 0.5)
    power = np.arange(0, most_power + 0.1, 0.45)
    tu, tv, p = (x.ravel() for x in np.meshgrid(tilt, tilt, power))
    keep = np.hypot(tu, tv) <= most_tilt
    keep &= ~((p == 0) & ((tv < 0) | ((tv == 0) & (tu < 0))))  # same picture, other sign
    return np.asarray(np.stack([tu, tv, p, 0 * p, 0 * p], axis=1)[keep])


def _near(spheres: NDArray[np.float64]) -> NDArray[np.float64]:
    """Those of little tilt and power."""
    little = (np.hypot(spheres[:, 0], spheres[:, 1]) <= 2.1) & (spheres[:, 2] <= 4.1)
    return np.asarray(spheres[little])


def _shares(
    part: Array, pixels: Pixels, level: Array, q: Array, light: Array
) -> NDArray[np.float64]:
    u, v = pixels.u, pixels.v
    square = u * u + v * v
    shapes = [u, v, square, u * u - v * v, 2 * u * v]
    if part.shape[1] > len(shapes):
        shapes += [(3 * square - 2) * u, (3 * square - 2) * v, 6 * square * (square - 1)]
    phase = np.float32(2 * np.pi) * (part @ np.stack(shapes))
    cos, sin = np.cos(phase) * level, np.sin(phase) * level
    cq, sq = cos @ q, sin @ q
    cc, ss, cs = (
        np.einsum("ij,ij->i", one, other) - np.einsum("ij,ij->i", one_q, other_q)
        for one, other, one_q, other_q in (
            (cos, cos, cq, cq),
            (sin, sin, sq, sq),
            (cos, sin, cq, sq),
        )
    )
    cl, sl = cos @ light, sin @ light
    # a column that uneven light explains almost entirely carries no information
    floor = 0.02 * float(level @ level)
    cc, ss = cc + floor, ss + floor
    det = np.maximum(cc * ss - cs * cs, 1e-12 * np.maximum(cc * ss, 1e-30))
    return np.asarray((ss * cl * cl - 2 * cs * cl * sl + cc * sl * sl) / det, np.float64)


def _distinct(
    grid: NDArray[np.float64], shares: Vector, keep: int
) -> list[tuple[OrderModel, float]]:
    third_order = grid.shape[1] > len(_LOW)
    terms = zernike_terms(4 if third_order else 2)
    scale = np.ones(grid.shape[1])
    scale[len(_LOW) :] = (_COMA_COUNTS, _COMA_COUNTS, _SPHERICAL_COUNTS)[: len(scale) - len(_LOW)]
    candidates: list[tuple[OrderModel, float]] = []
    rows: list[Vector] = []
    for index in np.argsort(shares)[::-1]:
        row = scale * grid[index]
        if any(np.abs(row - other).max() < _NEAR for other in rows):
            continue
        rows.append(row)
        values = dict(zip((*_LOW, *_THIRD_ORDER), grid[index], strict=False))
        values[2, 0] /= 2  # power is twice the coefficient
        model = OrderModel(terms, np.array([values.get(term, 0.0) for term in terms]))
        candidates.append((model, float(shares[index])))
        if len(candidates) == keep:
            break
    return candidates
