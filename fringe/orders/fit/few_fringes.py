"""A first model where fringes are too few for local frequencies: a search on a grid of shapes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import zernike_rows, zernike_terms
from fringe.orders.fit.field import Array
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import Pixels

Vector = NDArray[np.float64]


def few_fringe_starts(
    pixels: Pixels, most_power: float = 7.0, most_tilt: float = 7.0, keep: int = 6
) -> list[tuple[OrderModel, float]]:
    """Best sums of tilt, power and astigmatism, with the share of variation they explain.

    Every combination on a grid is tried: cosine and sine of its phase, cleared of slowly
    varying light, are projected on the picture.

    Parameters
    ----------
    pixels : Pixels
        A few thousand at most.
    most_power, most_tilt : float
        Bounds of the search [fringe].
    keep : int
        Number of distinct candidates to return, best first.
    """
    background = zernike_rows(zernike_terms(2), pixels.u, pixels.v)
    weight = np.sqrt(pixels.weight)
    q = np.linalg.qr((background * weight).T.astype(np.float64))[0].astype(np.float32)
    light = pixels.light * weight
    light = light - q @ (q.T @ light)
    total = float(light @ light) + 1e-30
    level = np.maximum(
        np.linalg.lstsq(background[:3].T, pixels.light, rcond=None)[0] @ background[:3], 1e-3
    )
    grid = _grid(most_power, most_tilt)
    shares = np.empty(len(grid))
    for first in range(0, len(grid), 256):
        part = grid[first : first + 256].astype(np.float32)
        shares[first : first + 256] = _shares(part, pixels, weight * level, q, light) / total
    return _distinct(grid, shares, keep)


def _grid(most_power: float, most_tilt: float) -> NDArray[np.float64]:
    """Rows (tilt u, tilt v, power, astigmatism cos, astigmatism sin) [fringe]."""
    tilt = np.arange(-most_tilt, most_tilt + 0.1, 0.5)
    power = np.arange(0, most_power + 0.1, 0.45)
    tu, tv, p = (x.ravel() for x in np.meshgrid(tilt, tilt, power))
    keep = np.hypot(tu, tv) <= most_tilt
    keep &= ~((p == 0) & ((tv < 0) | ((tv == 0) & (tu < 0))))  # same picture, other sign
    plain = np.stack([tu, tv, p, 0 * p, 0 * p], axis=1)[keep]
    near = plain[np.hypot(plain[:, 0], plain[:, 1]) <= 2.1]
    near = near[near[:, 2] <= 4.1]
    bent = []
    for size in (0.6, 1.2):
        for angle in np.arange(0, 2 * np.pi, np.pi / 3):
            extra = near.copy()
            extra[:, 3], extra[:, 4] = size * np.cos(angle), size * np.sin(angle)
            bent.append(extra)
    return np.concatenate([plain, *bent])


def _shares(
    part: Array, pixels: Pixels, level: Array, q: Array, light: Array
) -> NDArray[np.float64]:
    u, v = pixels.u, pixels.v
    shapes = np.stack([u, v, u * u + v * v, u * u - v * v, 2 * u * v])
    phase = np.float32(2 * np.pi) * (part @ shapes)
    cos, sin = np.cos(phase) * level, np.sin(phase) * level
    cq, sq = cos @ q, sin @ q
    cc = (cos * cos).sum(1) - (cq * cq).sum(1)
    ss = (sin * sin).sum(1) - (sq * sq).sum(1)
    cs = (cos * sin).sum(1) - (cq * sq).sum(1)
    cl, sl = cos @ light, sin @ light
    # a column that uneven light explains almost entirely carries no information
    floor = 0.02 * float(level @ level)
    cc, ss = cc + floor, ss + floor
    det = np.maximum(cc * ss - cs * cs, 1e-12 * np.maximum(cc * ss, 1e-30))
    return np.asarray((ss * cl * cl - 2 * cs * cl * sl + cc * sl * sl) / det, np.float64)


def _distinct(
    grid: NDArray[np.float64], shares: Vector, keep: int
) -> list[tuple[OrderModel, float]]:
    terms = zernike_terms(2)
    candidates: list[tuple[OrderModel, float]] = []
    rows: list[Vector] = []
    for index in np.argsort(shares)[::-1]:
        row = grid[index]
        if any(np.abs(row - other).max() < 0.95 for other in rows):
            continue
        rows.append(row)
        tu, tv, p, a, b = row
        values = {(1, 1): tu, (1, -1): tv, (2, 0): p / 2, (2, 2): a, (2, -2): b}
        model = OrderModel(terms, np.array([values.get(term, 0.0) for term in terms]))
        candidates.append((model, float(shares[index])))
        if len(candidates) == keep:
            break
    return candidates
