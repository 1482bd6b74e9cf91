"""Robust ellipse through points of which some belong to something else."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.photo.ellipse import Edge

Vector = NDArray[np.float64]


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
        None when no ellipse with B/A over 0.75 agrees with a third of the points.
    """
    found = []
    for reach in (2.5 * tolerance, 0.8 * tolerance):
        circle = _common_circle(x, y, reach)
        if circle is not None:
            fit = _settled(x, y, circle, min(reach, 1.2 * tolerance))
            if fit is not None:
                left = np.abs(_ellipse_residual(fit[0], x, y)[0])
                # a compromise between the edge and something else has more points roughly near
                found.append((int((left < 0.4 * tolerance).sum()), fit))
    if not found:
        return None
    p, inlier, rms = max(found, key=lambda item: item[0])[1]
    return _edge_of(p), inlier, rms


def _common_circle(x: Vector, y: Vector, reach: float) -> Vector | None:
    """Circle through three of the points that most others lie near (random sample consensus)."""
    circles = _circles(x, y, np.random.default_rng(7).integers(0, len(x), (300, 3)))
    if not len(circles):
        return None
    cx, cy, r = circles.T[:, :, None]
    near = np.abs(np.hypot(x - cx, y - cy) - r) < reach
    return np.array([*circles[int(near.sum(axis=1).argmax())], 0.0, 0.0])


def _circles(x: Vector, y: Vector, triples: NDArray[np.int64]) -> NDArray[np.float64]:
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
    """Reweighted least squares from a circle, ever stricter."""
    inlier = np.zeros(len(x), bool)
    rms = np.inf
    for number in range(25):
        left, jacobian = _ellipse_residual(p, x, y)
        robust = 1 / (1 + (left / reach) ** 2) ** 2
        normal = (jacobian * robust[:, None]).T @ jacobian
        p = p - np.linalg.solve(
            normal + 1e-9 * np.trace(normal) * np.eye(5), (jacobian * robust[:, None]).T @ left
        )
        p[3:] = np.clip(p[3:], -0.14, 0.14)
        left, _ = _ellipse_residual(p, x, y)
        inlier = np.abs(left) < 2.5 * reach
        if inlier.sum() < 20:
            return None
        rms = 1.4826 * float(np.median(np.abs(left[inlier])))
        if number > 3:
            reach = max(min(reach, 2.5 * rms), 0.25)
    if not np.isfinite(p).all() or inlier.sum() < len(x) / 3:
        return None
    return p, inlier, rms


def _ellipse_residual(p: Vector, x: Vector, y: Vector) -> tuple[Vector, NDArray[np.float64]]:
    """Radial distance to the ellipse with log axis ratio 2 sqrt(p3^2 + p4^2), and its slopes."""

    def distance(q: Vector) -> Vector:
        dx, dy = x - q[0], y - q[1]
        r = np.hypot(dx, dy)
        cos2 = (dx * dx - dy * dy) / np.maximum(r * r, 1e-9)
        sin2 = 2 * dx * dy / np.maximum(r * r, 1e-9)
        e = np.hypot(q[3], q[4])
        along = (q[3] * cos2 + q[4] * sin2) / e if e > 1e-12 else np.zeros_like(r)
        # polar equation of an ellipse with semi-axes R exp(+e), R exp(-e)
        limb = q[2] / np.sqrt(np.cosh(2 * e) - np.sinh(2 * e) * along)
        return np.asarray(r - limb)

    base = distance(p)
    columns = []
    for k, d in enumerate((1e-3, 1e-3, 1e-3, 1e-6, 1e-6)):
        q = p.copy()
        q[k] += d
        columns.append((distance(q) - base) / d)
    return base, np.stack(columns, axis=1)


def _edge_of(p: Vector) -> Edge:
    e = float(np.hypot(p[3], p[4]))
    angle = 0.5 * float(np.degrees(np.arctan2(p[4], p[3]))) if e > 0 else 0.0
    return Edge(float(p[0]), float(p[1]), float(p[2] * np.exp(e)), float(p[2] * np.exp(-e)), angle)
