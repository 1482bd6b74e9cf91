"""A first model of the fringes from local frequencies, taken as linear over the aperture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.orders.draws import Draws
from fringe.orders.fit.tiles import Tiles
from fringe.photo.filters import median

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Quadratic:
    """Fringe order that is quadratic over the disc, its gradient H x + b.

    Attributes
    ----------
    hessian : ndarray, shape (2, 2)
        Second derivative of the order [cycles / unit^2].
    slope : ndarray, shape (2,)
        Gradient in the middle [cycles / unit].
    support : float
        Share of the tiles, by weight, that agree.
    count : int
        Number of tiles that agree.
    """

    hessian: NDArray[np.float64]
    slope: Vector
    support: float
    count: int

    def gradient(self, u: Vector, v: Vector) -> NDArray[np.float64]:
        """Gradient of the order at (u, v), shape (..., 2) [cycles / unit]."""
        return np.stack([u, v], axis=-1) @ self.hessian + self.slope

    @property
    def power(self) -> float:
        """Power [fringe]: order at the rim less that in the middle, mean over directions."""
        return float(np.trace(self.hessian) / 4)

    def steepest(self) -> float:
        """Greatest frequency on the disc [cycles / unit]."""
        angle = np.linspace(0, 2 * np.pi, 64)
        return float(np.linalg.norm(self.gradient(np.cos(angle), np.sin(angle)), axis=-1).max())


def linear_design(u: Vector, v: Vector) -> NDArray[np.float64]:
    """Rows for (fu, fv) on (h_uu, h_uv, h_vv, b_u, b_v), shape (K, 2, 5)."""
    rows = np.zeros((u.size, 2, 5))
    rows[:, 0, 0], rows[:, 0, 1], rows[:, 0, 3] = u, v, 1
    rows[:, 1, 1], rows[:, 1, 2], rows[:, 1, 4] = u, v, 1
    return rows


def quadratic_start(tiles: Tiles, seed: int, tries: int = 600) -> Quadratic | None:
    """Find the linear gradient that most tiles agree with, whatever their signs.

    Triples of tiles, with each choice of relative signs, give candidates; the best by
    robust agreement is refined by reweighted least squares (random sample consensus).

    Parameters
    ----------
    tiles : Tiles
    seed : int
        For the sampling.
    tries : int
        Number of triples.

    Returns
    -------
    Quadratic or None
        None when there are too few tiles.
    """
    if len(tiles) < 6:
        return None
    weight = prominence(tiles)
    # a small, evenly drawn share of tiles is enough to score the candidates
    draws = Draws(seed)
    chosen = draws.some(weight, 500)
    scored = tiles.take(chosen)
    rows = linear_design(scored.u, scored.v)
    candidates = np.concatenate(
        [_triples(scored, rows, draws, tries), _isotropic(scored, draws, tries)]
    )
    weight = weight[chosen]
    agreement = np.zeros(len(candidates))
    for first in range(0, len(candidates), 400):
        part = candidates[first : first + 400]
        agreement[first : first + 400] = _agreement(part, rows, scored, weight)
    best = candidates[int(np.argmax(agreement))]
    return _refined(best, tiles)


def prominence(tiles: Tiles) -> Vector:
    """Weight of each tile: how pure its frequency is, and how strong, shape (K,)."""
    return np.asarray(tiles.purity**2 * np.minimum(tiles.amplitude / median(tiles.amplitude), 2))


def _isotropic(scored: Tiles, draws: Draws, tries: int) -> NDArray[np.float64]:
    """Candidates without astigmatism from pairs of tiles, shape (2 * tries, 5)."""
    pair = draws.integers(len(scored), tries, 2)
    pair = pair[pair[:, 0] != pair[:, 1]]
    out = []
    d = np.stack(
        [scored.u[pair[:, 0]] - scored.u[pair[:, 1]], scored.v[pair[:, 0]] - scored.v[pair[:, 1]]],
        axis=1,
    )
    for sign in (1.0, -1.0):
        change = scored.f[pair[:, 0]] - sign * scored.f[pair[:, 1]]
        bend = (change * d).sum(1) / np.maximum((d * d).sum(1), 1e-6)
        mid = np.stack([scored.u[pair].mean(1), scored.v[pair].mean(1)], axis=1)
        slope = 0.5 * (scored.f[pair[:, 0]] + sign * scored.f[pair[:, 1]]) - bend[:, None] * mid
        out.append(np.stack([bend, 0 * bend, bend, slope[:, 0], slope[:, 1]], axis=1))
    return np.concatenate(out)


def _triples(
    scored: Tiles, rows: NDArray[np.float64], draws: Draws, tries: int
) -> NDArray[np.float64]:
    """General candidates from three tiles and their relative signs, shape (4 * tries, 5)."""
    triple = draws.integers(len(scored), tries, 3)
    design = rows[triple].reshape(tries, 6, 5)
    normal = design.transpose(0, 2, 1) @ design + 1e-9 * np.eye(5)
    inverse = np.linalg.inv(normal) @ design.transpose(0, 2, 1)
    out = []
    for signs in ((1, 1, 1), (1, 1, -1), (1, -1, 1), (1, -1, -1)):
        f = (scored.f[triple] * np.array(signs)[None, :, None]).reshape(tries, 6)
        out.append(np.einsum("kij,kj->ki", inverse, f))
    return np.concatenate(out)


def _misfit(
    candidates: NDArray[np.float64], rows: NDArray[np.float64], tiles: Tiles
) -> NDArray[np.float64]:
    """Distance of each tile to each candidate in its own sigmas, best sign, shape (C, K)."""
    of_u, of_v = (candidates @ rows[:, k].T for k in (0, 1))
    along = candidates @ np.einsum("kij,ki->jk", rows, tiles.f)
    f2 = (tiles.f**2).sum(-1)
    # the nearer of |model - f|^2 and |model + f|^2
    squared_distance = np.maximum(of_u**2 + of_v**2 + f2 - 2 * np.abs(along), 0)
    return np.asarray(squared_distance / _tolerated(tiles))


def _tolerated(tiles: Tiles) -> Vector:
    """Square of what a tile's frequency may be off by: where it changes, its peak is broad."""
    return np.asarray(tiles.sigma**2 + 0.03**2 * (tiles.f**2).sum(-1))


def _agreement(
    candidates: NDArray[np.float64], rows: NDArray[np.float64], tiles: Tiles, weight: Vector
) -> Vector:
    return np.asarray(np.exp(-_misfit(candidates, rows, tiles) / 8) @ weight)


def agreeing(start: Quadratic, tiles: Tiles) -> NDArray[np.bool_]:
    """Tell which tiles agree with a model within three of their sigmas, shape (K,)."""
    h, b = start.hessian, start.slope
    coefficients = np.array([h[0, 0], h[0, 1], h[1, 1], b[0], b[1]])
    return np.asarray(_misfit(coefficients[None], linear_design(tiles.u, tiles.v), tiles)[0] < 9)


def agreement(gradient: NDArray[np.float64], tiles: Tiles) -> float:
    """How well tiles agree with the gradient (K, 2) of an order at their places, from 0 to 1."""
    nearer = np.minimum(*(((tiles.f - sign * gradient) ** 2).sum(axis=-1) for sign in (1, -1)))
    weight = prominence(tiles)
    return float(np.exp(-nearer / _tolerated(tiles) / 8) @ weight / weight.sum())


def _refined(start: Vector, tiles: Tiles) -> Quadratic:
    rows = linear_design(tiles.u, tiles.v)
    base = prominence(tiles) / tiles.sigma**2
    coefficients = start
    for _ in range(8):
        model = rows @ coefficients
        sign = np.sign((model * tiles.f).sum(-1))
        sign[sign == 0] = 1
        away = _misfit(coefficients[None], rows, tiles)[0]
        weight = base / (1 + away / 9) ** 2
        scaled = rows * np.sqrt(weight)[:, None, None]
        target = tiles.f * (sign * np.sqrt(weight))[:, None]
        coefficients = np.linalg.lstsq(scaled.reshape(-1, 5), target.reshape(-1), rcond=None)[0]
    away = _misfit(coefficients[None], rows, tiles)[0]
    agree = away < 9
    h_uu, h_uv, h_vv, b_u, b_v = coefficients
    hessian, slope = np.array([[h_uu, h_uv], [h_uv, h_vv]]), np.array([b_u, b_v])
    if np.trace(hessian) < 0:
        hessian, slope = -hessian, -slope
    share = float((base * agree).sum() / base.sum())
    return Quadratic(hessian, slope, share, int(agree.sum()))
