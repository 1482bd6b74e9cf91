"""Place an edge where fringes and surroundings meet: each side is explained in its own way.

Inside, the light is what a fit of the fringes expects, continued outward by a little;
outside, it varies slowly round the edge at any one distance from it (a bevel, a shadow, the
plate or the bench), whatever it does with distance. Of all nearly round ellipses near a
first one, the edge is that which leaves least unexplained on the two sides together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from fringe.orders.edge.rays import RAYS, cast
from fringe.orders.fit.field import Array
from fringe.orders.fit.least_squares import nelder_mead
from fringe.orders.fit.refine import Fit, expected
from fringe.photo.ellipse import Edge
from fringe.photo.filters import median, running_mean
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
# The surroundings vary round the edge with at most so many periods; fringes with more.
_WAVES = 2
# Penalty for explaining a point as surroundings: a fringe round the middle is constant along
# itself as surroundings are, and of two equally good curves the outer one is the edge.
_PRICE = 0.4
_TOLERATED_MISFIT = 0.2  # misfit inside, as a share of the fringe amplitude, that counts little
_ANGLE = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)


def shapes_at(angle: Vector) -> Vector:
    """Radius, place and oval of an edge along rays of some angles, shapes (K,) to (5, K)."""
    return np.stack(
        [np.ones_like(angle), *(f(k * angle) for k in (1, 2) for f in (np.cos, np.sin))]
    )


SHAPES = shapes_at(_ANGLE)
# fewer rays suffice to place an edge within a pixel or two; columns orthonormal over them
_RAYS = RAYS // 2
_FEWER_SHAPES = SHAPES[:, ::2]
_ROUND = np.stack(
    [np.full(_RAYS, np.sqrt(1 / _RAYS))]
    + [
        f(k * _ANGLE[::2]) * np.sqrt(2 / _RAYS)
        for k in range(1, _WAVES + 1)
        for f in (np.cos, np.sin)
    ],
    axis=1,
).astype(np.float32)
_LEAST_RAYS = 30  # that agree on an edge


@dataclass(frozen=True)
class ScoredEdge:
    """An edge and how well it separates the two sides.

    Attributes
    ----------
    edge : Edge
    gain : float
        Mean cost in a narrow band beyond the edge when explained as fringes less that as
        surroundings, less the mean cost of the fringes just within it; about 0 or less for no
        edge, above 1 for a clear one.
    """

    edge: Edge
    gain: float


class BoundaryFit:
    """Fit of an edge to the light in a band about it: fringes inside, surroundings outside."""

    def __init__(
        self, photo: Photo, edge: Edge, fits: tuple[Fit, ...], share: float, band: float
    ) -> None:
        """Sample the band.

        Parameters
        ----------
        photo : Photo
        edge : Edge
            Within `band` of the truth.
        fits : tuple of Fit
            On the unit disc of the edge shrunk by `share`. The best prediction of any of them
            counts: fits with many terms follow a turned zone, those with few extrapolate better.
        share : float
        band : float
            Half the width of the band as a share of the radius.
        """
        self.edge = edge
        self.step = max(0.6 / edge.a, 2 * band / 120)
        self.reach = np.arange(1 - band, 1 + band, self.step)
        rays = cast(photo, edge, self.reach, _RAYS)
        u, v = rays.unit()
        flat = [(w / share).astype(np.float32).ravel() for w in (u, v)]
        within = (self.reach < 1.0)[None, :] & rays.usable
        predictions = [[values.reshape(u.shape) for values in expected(fit, *flat)] for fit in fits]
        typical = float(median(predictions[0][1][within])) if within.any() else 1.0
        self.scale = float(np.hypot(2 * fits[0].noise, _TOLERATED_MISFIT * typical))
        self._light_windows = self._windows(np.where(rays.usable, rays.light, np.float32(np.nan)))
        cost = np.min(
            [self._point_cost(rays.light - light_predicted) for light_predicted, _ in predictions],
            axis=0,
        )
        self._inside = np.where(rays.usable, cost, 0).astype(np.float32)
        self._cost_windows = self._windows(np.where(rays.usable, cost, np.float32(np.nan)))
        self._sums = np.concatenate([np.zeros((_RAYS, 1)), np.cumsum(self._inside, axis=1)], axis=1)

    def _point_cost(self, residual: Array) -> Array:
        return np.asarray(np.log1p((residual / self.scale) ** 2), np.float32)

    def cost(self, shape: Vector) -> float:
        """Mean cost of the band when the edge is `shape`: shares of the radius, shape (5,)."""
        # clip a curve that leaves the band to its border, so that every curve covers all of it
        curve = np.clip(1 + shape @ _FEWER_SHAPES, self.reach[0], self.reach[-1])
        place = (curve - self.reach[0]) / self.step
        low = np.minimum(place.astype(int), len(self.reach) - 1)
        rows = np.arange(_RAYS)
        inside = self._sums[rows, low] + (place - low) * self._inside[rows, low]
        beyond = max(1, int((self.reach[-1] - float(curve.min())) / self.step))
        outside = self._outside(curve, self.step, beyond)
        return float(inside.sum() + outside.sum(dtype=float)) / self._inside.size

    def _windows(self, values: Array) -> Array:
        """Sliding windows of the values along rays, padded so that any offset is valid.

        Unusable points and those beyond the band are NaN.
        """
        count = len(self.reach)
        beyond = 2 * count + 2
        widened = np.pad(values, ((0, 0), (beyond, beyond)), constant_values=np.nan)
        return sliding_window_view(widened, 2 * count, axis=1)

    def _along(self, windows: Array, curve: Vector, first: float, count: int) -> Array:
        """Values at `count` offsets from a curve, each a step from the last, (rays, count)."""
        place = (curve + first - self.reach[0]) / self.step
        reach = len(self.reach)
        low = np.clip(np.floor(place), -2 * reach, reach).astype(np.intp)
        # offsets are whole steps apart, so all of a ray have the same interpolation weight
        part = (place - low).astype(np.float32)[:, None]
        values = windows[np.arange(_RAYS), low + 2 * reach + 2, : count + 1]
        return np.asarray(values[:, :-1] * (1 - part) + values[:, 1:] * part)

    def _outside(self, curve: Vector, first: float, count: int) -> Array:
        """Cost of explaining the points at some offsets from a curve as surroundings."""
        light = self._along(self._light_windows, curve, first, count)
        visible = ~np.isnan(light)
        light[~visible] = 0
        residual = light - self._slow_variation(light, visible)
        return (_PRICE + self._point_cost(residual)) * visible

    def _slow_variation(self, light: Array, visible: NDArray[np.bool_]) -> Array:
        """Slow variation round the edge at each offset, robust against dirt."""
        count = np.maximum(visible.sum(axis=0), 1).astype(np.float32)
        slow = np.broadcast_to((light * visible).sum(axis=0) / count, light.shape)
        for reach in (8.0, 3.0, 2.0):
            limited = np.clip(light - slow, -reach * self.scale, reach * self.scale)
            limited *= visible
            slow = slow + _ROUND @ (_ROUND.T @ limited * (np.float32(_RAYS) / count))
        return slow

    def place(self, starts: list[Vector]) -> ScoredEdge:
        """Find the best edge from the best of some shapes, each (5,) in shares of the radius."""
        costs = [self.cost(start) for start in starts]
        best = starts[int(np.argmin(costs))]
        for _ in range(3):
            by_rays = self._by_rays(best)
            if by_rays is None or (cost := self.cost(by_rays)) >= min(costs):
                break
            best = by_rays
            costs.append(cost)
        size = max(1.5 / self.edge.a, 0.004)
        simplex = np.concatenate([best[None], best + size * np.eye(5)])
        values, cost = nelder_mead(self.cost, simplex, 0.1 / self.edge.a, 1e-5, 220)
        shape = values if cost <= min(costs) else best
        return ScoredEdge(self.edge_of(shape), self.gain(shape))

    def _by_rays(self, shape: Vector) -> Vector | None:
        """Shape through the best change point of each ray taken alone."""
        curve = 1 + shape @ _FEWER_SHAPES
        count = len(self.reach)
        outside = self._outside(curve, -self.step * (count - 1), 2 * count - 1)
        # from offsets about the curve back to places on the ray
        place = (self.reach[None, :] - curve[:, None]) / self.step + count - 1
        low = np.clip(place.astype(int), 0, 2 * count - 3)
        rows = np.arange(_RAYS)[:, None]
        beyond = outside[rows, low] + (place - low) * (outside[rows, low + 1] - outside[rows, low])
        both = running_mean(self._inside - beyond, 3, axis=0, mode="wrap")
        change = np.cumsum(both, axis=1).argmin(axis=1)
        good = (change > 1) & (change < count - 2)
        at = self.reach[change] + 0.5 * self.step - 1
        for tolerance in (0.01, 0.004, 0.003, 0.002):
            if good.sum() < _LEAST_RAYS:
                return None
            shape = np.linalg.lstsq(_FEWER_SHAPES[:, good].T, at[good], rcond=None)[0]
            good = np.abs(at - shape @ _FEWER_SHAPES) < max(tolerance, 1.5 * self.step)
        return shape

    def gain(self, shape: Vector) -> float:
        """How much better fringes explain the light just within an edge than just beyond it."""
        curve = 1 + shape @ _FEWER_SHAPES
        first = 1.2 / self.edge.a
        count = int(np.ceil((max(6.0 / self.edge.a, 0.02) - first) / self.step))
        last = first + self.step * (count - 1)
        beyond = self._along(self._cost_windows, curve, first, count)
        beyond -= self._outside(curve, first, count)
        within = self._along(self._cost_windows, curve, -last, count)
        return _mean(beyond) - _mean(within)

    def edge_of(self, shape: Vector) -> Edge:
        """Edge in the photograph of a shape."""
        return reshaped(self.edge, shape)


def _mean(values: Array) -> float:
    """Mean of the values that are not NaN."""
    seen = ~np.isnan(values)
    return float(values[seen].mean()) if seen.any() else 0.0


def reshaped(edge: Edge, shape: Vector) -> Edge:
    """Edge that differs from another by a shape: shares of the radius, shape (5,)."""
    curve = 1 + shape @ SHAPES
    return _ellipse_through(*edge.pixels(np.cos(_ANGLE) * curve, np.sin(_ANGLE) * curve))


def _ellipse_through(x: Vector, y: Vector) -> Edge:
    """Least-squares ellipse through points that lie very nearly on one."""
    mx, my = x.mean(), y.mean()
    size = np.hypot(x - mx, y - my).mean()
    p, q = (x - mx) / size, (y - my) / size
    design = np.stack([p * p - q * q, 2 * p * q, p, q, np.ones_like(p)], axis=1)
    a, b, c, d, e = np.linalg.lstsq(design, p * p + q * q, rcond=None)[0]
    matrix = np.array([[1 - a, -b], [-b, 1 + a]])
    middle = np.linalg.solve(2 * matrix, [c, d])
    level = e + middle @ matrix @ middle
    sizes, axes = np.linalg.eigh(matrix / level)
    long = axes[:, 0]
    return Edge(
        float(mx + size * middle[0]),
        float(my + size * middle[1]),
        float(size / np.sqrt(sizes[0])),
        float(size / np.sqrt(sizes[1])),
        float(np.degrees(np.arctan2(long[1], long[0]))),
    )
