"""Circles and ellipses with edge along them, by a Hough transform with gradient directions.

Those of `long_circles` have much edge of any kind, a fringe's as well, and are rough. Those of
`outlines` are sharp all round, as a work's rim is: a line or a step of light that is narrower than
broad fringes. Fine fringes and printed rings are as sharp, and many: none of those is told from a
rim, and other searches find the edge of fine fringes.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fringe.orders.draws import Draws
from fringe.orders.edge.boundary import reshaped, shapes_at
from fringe.orders.fit.field import Array
from fringe.orders.fit.scale import enlarged, thumbnail
from fringe.photo.ellipse import Edge
from fringe.photo.filters import gaussian, gaussian_slopes, median, quantile
from fringe.photo.load import Photo

Floats = NDArray[np.float64]
_SECTORS = 72  # of a circle, for rough ones
_ROUGH_SIDE, _FINE_SIDE = 320, 480  # of the reduced picture, for rough circles and for sharp ones
# widths that a sharp edge differs from its surroundings over, and that its strength is held
# against [px]; the share of the pixels that are less sharp
_BROADER, _ABOUT, _LESS_SHARP = 3.0, 12.0, 0.85
_MOST_POINTS = 6000
_RADII_ABOUT = 6  # radii of sharp circles that are looked at about one centre
_ALONG = 0.95  # cosine of the angle between a sharp edge and the circle's radius, at least
# widths over which edges near an ellipse draw it to them, one after another, and how far it may be
# drawn in all, as shares of the radius
_WIDTHS, _MOST_MOVED = (0.03, 0.03, 0.02, 0.015, 0.01, 0.008, 0.006, 0.006), 0.1
_LEAST_POINTS, _LEAST_OVAL = 30, 0.7
_ON_PX = 1.3  # from the ellipse, within which an edge lies on it
# share of the directions in which there is a sharp edge on it: of works with broad fringes 0.89 to
# 1, of textured ground up to 0.7
_LEAST_COVERED = 0.78
_SAME = 0.04  # share of the radius by which outlines differ
# outlines from which they are rings: works with broad fringes, under plates, have 1 to 3, printed
# targets and fine fringes 5 and more
_RINGS = 4


class _Edges(NamedTuple):
    """Edges in a reduced picture: places and directions, each of shape (P,), and its shape."""

    x: NDArray[np.intp]
    y: NDArray[np.intp]
    nx: Array
    ny: Array
    frame: tuple[int, int]

    def aligned(self, cx: float, cy: float, along: float) -> tuple[Floats, NDArray[np.bool_]]:
        """Distance from a centre, and which edges lie across the way from it."""
        dx, dy = self.x - cx, self.y - cy
        away = np.hypot(dx, dy)
        return away, np.asarray(np.abs(dx * self.nx + dy * self.ny) > along * away)

    def sector(self, cx: float, cy: float, count: int) -> NDArray[np.intp]:
        """Direction from a centre, as one of some sectors."""
        turn = (np.arctan2(self.y - cy, self.x - cx) + np.pi) / (2 * np.pi)
        return np.asarray((turn * count).astype(np.intp) % count)


def are_apart(one: Edge, other: Edge) -> bool:
    """Tell whether two rough circles are different ones."""
    away = np.hypot(one.cx - other.cx, one.cy - other.cy) / other.a
    return bool(away > 0.06 or abs(one.a / other.a - 1) > 0.06)


def long_circles(photo: Photo, most: int = 4) -> list[Edge]:
    """Circles with much sharp edge along them.

    Parameters
    ----------
    photo : Photo
    most : int
    """
    scale = max(1, round(max(photo.width, photo.height) / _ROUGH_SIDE))
    log = _log_light(photo, scale)
    gx, gy = gaussian_slopes(log, 1.0)
    size = np.hypot(gx, gy)
    threshold = max(quantile(size, 0.88), 3 * float(median(size)) * 0.5)
    edges = _edges(gx, gy, size, size > threshold)
    if edges is None:
        return []
    least, greatest = 0.12 * min(edges.frame), 0.75 * min(edges.frame)
    radii = np.arange(least, greatest, 1.0)
    found: list[tuple[float, Edge]] = []
    for cy, cx in _centres(edges, radii, 6, 2.0):
        found += _radii_about(cx, cy, edges, radii)
    found.sort(key=lambda item: -item[0])
    circles: list[Edge] = []
    for _, c in found:
        full = enlarged(c, scale)
        if all(are_apart(full, other) for other in circles):
            circles.append(full)
    return circles[:most]


def outlines(photo: Photo) -> list[Edge]:
    """Ellipses that are sharp all round, as far as the frame shows them, the most complete first.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    list of Edge
        Where one is a work's rim, within some 1 % of its radius; none where there are many, which
        are rings.
    """
    scale = max(1, round(max(photo.width, photo.height) / _FINE_SIDE))
    log = _log_light(photo, scale)
    # fringes and shadows that are broader have the same slope around, edges do not
    gx, gy = (
        slope - gaussian(slope, _BROADER, mode="symmetric") for slope in gaussian_slopes(log, 1.0)
    )
    size = np.hypot(gx, gy)
    usual = np.sqrt(gaussian(size * size, _ABOUT, mode="symmetric"))
    sharp = size / (usual + 0.2 * math.sqrt(float((size**2).mean())) + 1e-9)
    edges = _edges(gx, gy, size, sharp > max(1.0, quantile(sharp, _LESS_SHARP)))
    if edges is None:
        return []
    radii = np.arange(0.15 * min(edges.frame), 0.6 * max(edges.frame), 1.0)
    found = [
        outline
        for cy, cx in _centres(edges, radii, 8, 1.5)
        for outline in _outlines_about(cx, cy, edges, radii)
    ]
    found.sort(key=lambda item: -item[0])
    kept: list[Edge] = []
    for _, c in found:
        if all(_distance(c, other) > _SAME * c.a for other in kept):
            kept.append(c)
    return [enlarged(c, scale) for c in kept] if len(kept) < _RINGS else []


def _log_light(photo: Photo, scale: int) -> Array:
    light = thumbnail(photo.light, scale)
    return np.asarray(np.log(light + 0.05 * float(light.mean()) + 1e-6), light.dtype)


def _edges(gx: Array, gy: Array, size: Array, strong: NDArray[np.bool_]) -> _Edges | None:
    """Places where the gradient is strong, and greatest along its own direction."""
    y, x = np.nonzero(_ridge(size, gx, gy) & strong)
    if y.size < 30:
        return None
    if y.size > _MOST_POINTS:
        pick = Draws(5).some(np.ones(y.size), _MOST_POINTS)
        y, x = y[pick], x[pick]
    return _Edges(x, y, gx[y, x] / size[y, x], gy[y, x] / size[y, x], size.shape)


def _ridge(size: Array, gx: Array, gy: Array) -> NDArray[np.bool_]:
    """Points where the gradient is greatest along its own direction."""
    step_x = np.rint(gx / np.maximum(size, 1e-9)).astype(int)
    step_y = np.rint(gy / np.maximum(size, 1e-9)).astype(int)
    rows, columns = np.indices(size.shape)
    ahead = size[
        np.clip(rows + step_y, 0, size.shape[0] - 1),
        np.clip(columns + step_x, 0, size.shape[1] - 1),
    ]
    back = size[
        np.clip(rows - step_y, 0, size.shape[0] - 1),
        np.clip(columns - step_x, 0, size.shape[1] - 1),
    ]
    return np.asarray((size >= ahead) & (size >= back))


def _centres(edges: _Edges, radii: Floats, count: int, width: float) -> list[tuple[int, int]]:
    """Places (row, column) that the normals of most edges pass through."""
    rows, columns = edges.frame
    votes = np.zeros(rows * columns)
    for sign in (1, -1):
        vx = np.rint(edges.x[:, None] + sign * edges.nx[:, None] * radii).astype(int)
        vy = np.rint(edges.y[:, None] + sign * edges.ny[:, None] * radii).astype(int)
        inside = (vx >= 0) & (vy >= 0) & (vx < columns) & (vy < rows)
        weight = np.broadcast_to(1 / radii, vx.shape)[inside]
        votes += np.bincount((vy * columns + vx)[inside], weight, rows * columns)
    return _peaks(gaussian(votes.reshape(rows, columns), width, mode="symmetric"), count)


def _peaks(votes: NDArray[np.float64], count: int) -> list[tuple[int, int]]:
    votes = votes.copy()
    out = []
    for _ in range(count):
        row, column = np.unravel_index(int(votes.argmax()), votes.shape)
        out.append((int(row), int(column)))
        votes[max(0, row - 8) : row + 9, max(0, column - 8) : column + 9] = 0
    return out


def _radii_about(cx: float, cy: float, edges: _Edges, radii: Floats) -> list[tuple[float, Edge]]:
    """Radii about a centre with much edge along them, with that share of the circle."""
    away, aligned = edges.aligned(cx, cy, 0.92)
    sector = edges.sector(cx, cy, _SECTORS)
    covered = np.zeros(len(radii))
    for k, radius in enumerate(radii):
        near = aligned & (np.abs(away - radius) < 0.04 * radius)
        covered[k] = np.unique(sector[near]).size / _SECTORS
    out: list[tuple[float, Edge]] = []
    for k in np.argsort(-covered):
        if covered[k] < 0.4 or len(out) >= 3:
            break
        if all(abs(radii[k] / other.a - 1) > 0.07 for _, other in out):
            # of equally good circles keep the larger: rings lie inside the edge, never outside
            out.append(
                (float(covered[k]), Edge(float(cx), float(cy), float(radii[k]), float(radii[k])))
            )
    return out


def _outlines_about(cx: float, cy: float, edges: _Edges, radii: Floats) -> list[tuple[float, Edge]]:
    """Sharp ellipses about a centre, each with the share of it that an edge lies on."""
    away, aligned = edges.aligned(cx, cy, _ALONG)
    count = np.bincount(np.rint(away[aligned]).astype(int), minlength=int(radii[-1]) + 2)
    share = np.convolve(count, np.ones(5), "same") / (2 * np.pi * (np.arange(len(count)) + 1))
    share[: int(radii[0])] = 0
    share[int(radii[-1]) :] = 0
    found: list[tuple[float, Edge]] = []
    for _ in range(_RADII_ABOUT):
        radius = int(share.argmax())
        if share[radius] == 0:
            break
        share[int(0.96 * radius) : int(1.04 * radius) + 1] = 0
        ellipse = _placed(Edge(float(cx), float(cy), float(radius), float(radius)), edges, aligned)
        covered = _covered(ellipse, edges, aligned)
        if covered > _LEAST_COVERED:
            found.append((covered, ellipse))
    return found


def _placed(circle: Edge, edges: _Edges, aligned: NDArray[np.bool_]) -> Edge:
    """The ellipse near a circle that most edges lie on."""
    ellipse = circle
    for width in _WIDTHS:
        u, v = ellipse.unit(edges.x[aligned], edges.y[aligned])
        off = np.hypot(u, v) - 1
        near = np.abs(off) < 2.5 * width
        if near.sum() < _LEAST_POINTS:
            break
        rows, off = shapes_at(np.arctan2(v[near], u[near])), off[near]
        weight = rows / (1 + (off / width) ** 2) ** 2
        shape = np.linalg.solve(weight @ rows.T + 1e-6 * np.eye(5), weight @ off)
        moved = reshaped(ellipse, shape)
        if _distance(moved, circle) > _MOST_MOVED * circle.a or moved.b < _LEAST_OVAL * moved.a:
            break
        ellipse = moved
    return ellipse


def _distance(one: Edge, other: Edge) -> float:
    """How far ellipses are apart, in place and in size [px]."""
    size = math.sqrt(one.a * one.b) - math.sqrt(other.a * other.b)
    return math.hypot(one.cx - other.cx, one.cy - other.cy, size)


def _covered(ellipse: Edge, edges: _Edges, aligned: NDArray[np.bool_]) -> float:
    """Share of an ellipse's directions within the frame in which an edge lies on it."""
    angle = (np.arange(_SECTORS) + 0.5) / _SECTORS * 2 * np.pi - np.pi
    x, y = ellipse.pixels(np.cos(angle), np.sin(angle))
    rows, columns = edges.frame
    framed = (x > 1) & (y > 1) & (x < columns - 2) & (y < rows - 2)
    if 3 * framed.sum() < _SECTORS:
        return 0.0
    u, v = ellipse.unit(edges.x, edges.y)
    on = aligned & (np.abs(np.hypot(u, v) - 1) * ellipse.b < _ON_PX)
    met = np.zeros(_SECTORS, bool)
    met[edges.sector(ellipse.cx, ellipse.cy, _SECTORS)[on]] = True
    return float(met[framed].mean())
