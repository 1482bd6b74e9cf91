"""Robust fit of an ellipse to points with outliers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.orders.draws import Draws
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median

Vector = NDArray[np.float64]
_MOST_OVAL = 0.2  # half the logarithm of A/B: of a disc seen 48 degrees off axis
_STILL_PX = 0.01  # change of an ellipse, and of the reach, that ends the fit


def fit_ellipse(
    x: Vector, y: Vector, tolerance: float
) -> tuple[Edge, NDArray[np.bool_], float] | None:
    """Fit an ellipse that is nearly a circle, against outliers.

    Parameters
    ----------
    x, y : ndarray, shape (K,)
        Points [px].
    tolerance : float
        Distance within which a point agrees, at first [px].

    Returns
    -------
    edge, inlier, rms : Edge, ndarray of bool, float
        None when no ellipse with B/A over 0.67 agrees with a third of the points.
    """
    found = []
    for reach in (2.5 * tolerance, 0.8 * tolerance):
        circle = _common_circle(x, y, reach)
        if circle is not None:
            fit = _settled(x, y, circle, min(reach, 1.2 * tolerance))
            if fit is not None:
                left = np.abs(_distance(fit[0], x, y))
                # a compromise between the edge and something else has more points roughly near
                found.append((int((left < 0.4 * tolerance).sum()), fit))
    if not found:
        return None
    p, inlier, rms = max(found, key=lambda item: item[0])[1]
    return _edge_of(p), inlier, rms


def _common_circle(x: Vector, y: Vector, reach: float) -> Vector | None:
    """Circle through three of the points that most others lie near (random sample consensus)."""
    circles = _circles(x, y, Draws(7).integers(len(x), 300, 3))
    if not len(circles):
        return None
    cx, cy, r = circles.T[:, :, None]
    near = np.abs(np.hypot(x - cx, y - cy) - r) < reach
    return np.array([*circles[int(near.sum(axis=1).argmax())], 0.0, 0.0])


def _circles(x: Vector, y: Vector, triples: NDArray[np.intp]) -> NDArray[np.float64]:
    """Circles (cx, cy, r) through those triples of points that are not in line, shape (C, 3)."""
    px, py = x[triples], y[triples]
    matrix = np.stack([2 * px, 2 * py, np.ones_like(px)], axis=2)
    sound = np.abs(np.linalg.det(matrix)) > 1e-6
    matrix, px, py = matrix[sound], px[sound], py[sound]
    a, b, c = np.linalg.solve(matrix, (px * px + py * py)[..., None])[..., 0].T
    square = c + a * a + b * b
    circles = np.stack([a, b, np.sqrt(np.maximum(square, 0))], axis=1)
    return np.asarray(circles[square > 0], np.float64)


def _settled(
    x: Vector, y: Vector, p: Vector, reach: float
) -> tuple[Vector, NDArray[np.bool_], float] | None:
    """Reweighted least squares from a circle, with a shrinking tolerance."""
    inlier = np.zeros(len(x), bool)
    rms = np.inf
    left, jacobian = _ellipse_residual(p, x, y)
    for number in range(25):
        weighted = jacobian * (1 / (1 + (left / reach) ** 2) ** 2)[:, None]
        normal = weighted.T @ jacobian
        step = np.linalg.solve(normal + 1e-9 * np.trace(normal) * np.eye(5), weighted.T @ left)
        p = p - step
        p[3:] = np.clip(p[3:], -_MOST_OVAL, _MOST_OVAL)
        left, jacobian = _ellipse_residual(p, x, y)
        inlier = np.abs(left) < 2.5 * reach
        if inlier.sum() < 20:
            return None
        rms = 1.4826 * float(median(np.abs(left[inlier])))
        if number > 3:
            before, reach = reach, max(min(reach, 2.5 * rms), 0.25)
            if np.abs(step[:3]).max() < _STILL_PX and before - reach < _STILL_PX:
                break
    if not np.isfinite(p).all() or inlier.sum() < len(x) / 3:
        return None
    return p, inlier, rms


def _ellipse_residual(p: Vector, x: Vector, y: Vector) -> tuple[Vector, NDArray[np.float64]]:
    """Radial distance to an ellipse and its slopes along the five numbers, shape (K, 5)."""
    small = np.array([1e-3, 1e-3, 1e-3, 1e-6, 1e-6])
    base, *moved = _distance(p + np.concatenate([np.zeros((1, 5)), np.diag(small)]), x, y)
    return base, ((np.array(moved) - base) / small[:, None]).T


def _distance(p: NDArray[np.float64], x: Vector, y: Vector) -> NDArray[np.float64]:
    """Radial distance to ellipses (..., 5) with log axis ratio 2 sqrt(p3^2 + p4^2), (..., K)."""
    cx, cy, size, p3, p4 = np.moveaxis(p[..., None], -2, 0)
    dx, dy = x - cx, y - cy
    r2 = np.maximum(dx * dx + dy * dy, 1e-9)
    e = np.hypot(p3, p4)
    # sinh(2 e) / e has a limit where the ellipse is a circle
    along = (p3 * (dx * dx - dy * dy) + 2 * p4 * dx * dy) / r2 * 2 * np.sinc(2j * e / np.pi).real
    # polar equation of an ellipse with semi-axes R exp(+e), R exp(-e)
    return np.asarray(np.sqrt(r2) - size / np.sqrt(np.cosh(2 * e) - along))


def _edge_of(p: Vector) -> Edge:
    e = float(np.hypot(p[3], p[4]))
    angle = 0.5 * float(np.degrees(np.arctan2(p[4], p[3]))) if e > 0 else 0.0
    return Edge(float(p[0]), float(p[1]), float(p[2] * np.exp(e)), float(p[2] * np.exp(-e)), angle)
