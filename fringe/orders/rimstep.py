"""Place an edge to a fraction of a pixel: where light steps from fringes to what lies beyond.

Across the rim the light goes from what a fit of the fringes expects over a chamfer to what is
seen some pixels out, in two steps that the lens draws out to error functions. Radius, place
and oval of the first step, and what nobody asks for, are fitted to all rays at once,
robustly, so that rays on which both sides are alike, or dirt lies, have no say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize, special

from fringe.orders.contest import SHAPES, reshaped
from fringe.orders.polish import Fit, expected
from fringe.orders.rays import cast
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
_WITHIN_PX, _BEYOND_PX, _STEP_PX = 4.0, 7.0, 0.5  # of the rays that are fitted
_OUT_PX = (8.0, 10.0)  # where it is seen what lies beyond the chamfer
# what is tried: places of the edge, widths of the chamfer, its light beside the fringes'
_SHIFTS_PX, _WIDTHS_PX, _LEVELS = (-1.0, 0.0, 1.0, 2.0), (1.0, 2.0, 3.5, 5.5), (0.1, 0.5, 1.1)
_FARTHEST_PX = 3.0  # that an edge is moved
_MOST_LOG_SPREAD = 1.2
_LEAST_SEEN = 0.8  # share of the rays that must lie in the frame: a part of a rim misleads


def stepped(photo: Photo, edge: Edge, fits: Sequence[Fit], share: float) -> Edge | None:
    """Move an edge onto the step of light at the rim.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Within a few pixels of the truth.
    fits : sequence of Fit
        On the unit disc of the edge shrunk by `share`; that which continues best is taken.
    share : float

    Returns
    -------
    Edge or None
        None where no step is seen, or it lies elsewhere.
    """
    radius = float(np.sqrt(edge.a * edge.b))
    offset = np.arange(-_WITHIN_PX, _OUT_PX[1] + _STEP_PX / 2, _STEP_PX)
    rays = cast(photo, edge, 1 + offset / radius)
    seen = rays.usable.all(axis=1)
    if seen.mean() < _LEAST_SEEN:
        return None
    flat = [(w[seen] / share).astype(np.float32).ravel() for w in rays.unit()]
    light = rays.light[seen].astype(float)
    beyond = light[:, offset >= _OUT_PX[0]].mean(axis=1)
    beyond = ndimage.median_filter(beyond, 9, mode="wrap")[:, None]
    near = offset <= _BEYOND_PX
    wants = [expected(fit, *flat)[0].reshape(light.shape)[:, near].astype(float) for fit in fits]
    tolerance = max(2 * fits[0].noise, 0.1 * float(np.median(np.abs(wants[0] - beyond))))
    rims = [_Rim(SHAPES[:, seen], offset[near], light[:, near], want, beyond) for want in wants]
    found = min((_placed(rim, tolerance) for rim in rims), key=lambda fit: float(fit.cost))
    moved = np.abs(found.x[:5] @ SHAPES).max()
    if moved > _FARTHEST_PX or abs(found.x[5]) > _MOST_LOG_SPREAD:
        return None
    return reshaped(edge, found.x[:5] / radius)


def _placed(rim: _Rim, tolerance: float) -> optimize.OptimizeResult:
    """Fit a rim from the likeliest of some starts."""

    def cost(p: Vector) -> float:
        return float(np.log1p((rim.left(p) / tolerance) ** 2).sum())

    start = min(
        (
            np.array([shift, 0, 0, 0, 0, 0, np.log(width), level, 0, 0, 0])
            for shift in _SHIFTS_PX for width in _WIDTHS_PX for level in _LEVELS
        ),
        key=cost,
    )  # fmt: skip
    return optimize.least_squares(rim.left, start, loss="cauchy", f_scale=tolerance, max_nfev=25)


@dataclass(frozen=True)
class _Rim:
    """Light along rays across the rim, shape (A, R), and what it would be on either side."""

    shapes: NDArray[np.float64]
    offset: Vector
    light: NDArray[np.float64]
    want: NDArray[np.float64]
    beyond: NDArray[np.float64]

    @cached_property
    def level(self) -> float:
        """Light of the fringes, of which the chamfer's is told."""
        return float(np.median(self.want))

    def left(self, p: Vector) -> Vector:
        """What a rim leaves of the light, flat.

        `p` has radius, place and oval [px], logarithms of the lens's spread and of the
        chamfer's width [px], level and slopes of the chamfer's light along x and y, and of the
        light beyond along the ray.
        """
        from_rim = (p[:5] @ self.shapes)[:, None] - self.offset
        within = special.ndtr(from_rim / np.exp(p[5]))
        upon = special.ndtr((from_rim + np.exp(p[6])) / np.exp(p[5]))
        chamfer = self.level * (p[7:10] @ self.shapes[:3])[:, None]
        around = self.beyond + self.level * p[10] * (self.offset - _BEYOND_PX)
        expected = around + (chamfer - around) * upon + (self.want - chamfer) * within
        return np.asarray(self.light - expected).ravel()
