"""Place an edge to a fraction of a pixel: where light steps from fringes to what lies beyond.

Across the rim the light goes from what a fit of the fringes expects over a chamfer to what is
seen some pixels out, in two steps that the lens draws out to error functions. Radius, place
and oval of the first step, and what nobody asks for, are fitted to all rays at once,
robustly, so that rays on which both sides are alike, or dirt lies, have no say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from fringe.orders.edge.boundary import SHAPES, reshaped
from fringe.orders.edge.rays import cast
from fringe.orders.fit.least_squares import Descent, robust_cost, robust_descent
from fringe.orders.fit.refine import Fit, expected
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
_WITHIN_PX, _BEYOND_PX, _STEP_PX = 4.0, 7.0, 0.5  # of the rays that are fitted
_WELL_WITHIN_PX = -1.5
_OUT_PX = (8.0, 10.0)  # where it is seen what lies beyond the chamfer
# what is tried: places of the edge, widths of the chamfer, its light beside the fringes'
_SHIFTS_PX, _WIDTHS_PX, _LEVELS = (-1.0, 0.0, 1.0, 2.0), (1.0, 2.0, 3.5, 5.5), (0.1, 0.5, 1.1)
_CLEAR = 0.5  # gain of a step that is looked for at the same place again
_THINNED = 5  # of so many rays one is fitted to choose among starts
_ACROSS = 6  # numbers that are fitted and that nobody asks for
# the least and the most of each: spread and width are logarithms, light of a chamfer is no shadow
_LOWEST = (-1.5, np.log(0.3), 0.0, -np.inf, -np.inf, -0.1)
_HIGHEST = (1.5, np.log(9.0), 1.6, np.inf, np.inf, 0.1)
# Standard uncertainty of the radius, from found edges of rendered works: how far off they are
# at the least, and by how much more than the light's own scatter lets expect. A turned edge,
# where fits that continue differently leave differently much, may go on unseen by either.
_LEAST_PX, _TURNED_PX, _SCATTER, _ALIKE = 0.1, 0.3, 6.0, 1.3
_SECTOR = 6  # rays whose residuals go together
# misfit well within the rim, as shares of the fringes' amplitude and of the light: where it is
# more, what was fitted is not what is there
_MOST_MISFIT, _MOST_PLAIN = 0.5, 0.1
_FARTHEST_PX = 7.0  # that an edge is moved: the rays reach no further
_MOST_LOG_SPREAD = 1.2
# Share of the rays that must lie in the frame. Of fewer than most, how oval it is stays as it
# was, and leaves the radius uncertain by a share.
_LEAST_SEEN, _MOST_SEEN, _PART_SHARE = 0.6, 0.8, 0.0018


@dataclass(frozen=True)
class Step:
    """An edge on the step of light at the rim.

    Attributes
    ----------
    edge : Edge
        With the standard uncertainty of its semi-axes.
    moved_px : float
        Greatest distance from where it was looked for.
    across : ndarray, shape (6,)
        The light across the rim, as a start for the next step.
    gain : float
        How much less a step leaves of the light than fringes that go on, as a share.
    """

    edge: Edge
    moved_px: float
    across: Vector
    gain: float


def stepped(
    photo: Photo, edge: Edge, fits: Sequence[Fit], share: float, before: Step | None = None
) -> Step | None:
    """Move an edge onto the step of light at the rim.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        Within a few pixels of the truth.
    fits : sequence of Fit
        On the unit disc of the edge shrunk by `share`; that which continues best is taken.
    share : float
    before : Step, optional
        Found close by.

    Returns
    -------
    Step or None
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
    seen_by = [[w.reshape(light.shape)[:, near] for w in expected(fit, *flat)] for fit in fits]
    wants = [want.astype(float) for want, _ in seen_by]
    tolerance = max(2 * fits[0].noise, 0.1 * float(np.median(np.abs(wants[0] - beyond))))
    whole = seen.mean() > _MOST_SEEN
    shapes = SHAPES[: 5 if whole else 3, seen]
    rims = [_Rim(shapes, offset[near], light[:, near], want, beyond) for want in wants]
    going_on = min(robust_cost(rim.light - rim.want, tolerance) for rim in rims)
    founds: list[Descent] = []
    start = None if before is None else np.append(0 * shapes[:, 0], before.across)
    for rim in rims:
        founds.append(_placed(rim, tolerance, start))
        # fringes that are continued otherwise end at the same step, where it is a clear one
        if before is None and founds[-1].cost < (1 - _CLEAR) * going_on:
            start = founds[-1].at
    costs = [found.cost for found in founds]
    best = int(np.argmin(costs))
    # where a lamp's contrast is gone at the rim, plain light is what must fit
    borne = _MOST_MISFIT * np.median(seen_by[best][1]), _MOST_PLAIN * np.median(wants[best])
    if np.median(np.abs(rims[best].within)) > max(borne):
        return None
    shape, across = founds[best].at[:-_ACROSS], founds[best].at[-_ACROSS:]
    moved, log_spread = float(np.abs(shape @ shapes).max()), across[0]
    if moved > _FARTHEST_PX or abs(log_spread) > _MOST_LOG_SPREAD:
        return None
    least_px = _TURNED_PX if max(costs) > _ALIKE * min(costs) else _LEAST_PX
    if not whole:
        least_px = max(least_px, _PART_SHARE * radius)
    u_px = float(np.hypot(least_px, _SCATTER * rims[best].scatter_px(founds[best], tolerance)))
    gain = 1 - min(costs) / max(going_on, 1e-9)
    shape = np.pad(shape / radius, (0, 5 - shape.size))
    return Step(replace(reshaped(edge, shape), u_px=u_px), moved, across, gain)


def _placed(rim: _Rim, tolerance: float, start: Vector | None) -> Descent:
    """Fit a rim from a start, or the best of some, one for each brightness of the chamfer."""
    free = np.full(len(rim.shapes), np.inf)
    bounds = np.append(-free, _LOWEST), np.append(free, _HIGHEST)
    if start is None:
        some = rim.thinned(_THINNED)
        found = []
        for level in _LEVELS:
            starts = [
                np.array([shift, *[0] * (free.size - 1), 0, np.log(width), level, 0, 0, 0])
                for shift in _SHIFTS_PX
                for width in _WIDTHS_PX
            ]
            near = min(starts, key=lambda p: robust_cost(some.at(p).left, tolerance))
            found.append(robust_descent(some.at, near, bounds, tolerance, 12))
        start = min(found, key=lambda fit: fit.cost).at
    return robust_descent(rim.at, start, bounds, tolerance, 25)


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

    @property
    def within(self) -> NDArray[np.float64]:
        """What the fringes leave of the light well within the rim, where they must be."""
        inside = self.offset < _WELL_WITHIN_PX
        return (self.light - self.want)[:, inside]

    @cached_property
    def bent(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Slope and half the second derivative of the fringes' light along the rays, per pixel."""
        slope = np.gradient(self.want, _STEP_PX, axis=1)
        return slope, np.gradient(slope, _STEP_PX, axis=1) / 2

    def thinned(self, step: int) -> _Rim:
        """Every step-th ray."""
        shapes = self.shapes[:, ::step]
        return _Rim(shapes, self.offset, self.light[::step], self.want[::step], self.beyond[::step])

    def at(self, p: Vector) -> _Looked:
        """Look at the rim with a step of light.

        `p` has radius, place and, where told, oval [px], logarithms of the lens's spread and of the
        chamfer's width [px], level and slopes of the chamfer's light along x and y, and of the
        light beyond along the ray.
        """
        return _Looked(self, p)

    def scatter_px(self, found: Descent, tolerance: float) -> float:
        """Standard uncertainty of the radius, of a robust fit to sectors that scatter [px].

        Sandwich as in `polish`.
        """
        slopes = self.at(found.at).slopes()
        weight = 1 / (1 + (found.left / tolerance) ** 2)
        pulls = (slopes * (weight * found.left)[:, None]).reshape(*self.light.shape, -1)
        sectors = np.arange(0, len(pulls), _SECTOR)
        scores = np.add.reduceat(pulls.sum(axis=1), sectors, axis=0)
        normal = slopes.T @ (slopes * weight[:, None])
        rows = np.linalg.lstsq(normal, scores.T, rcond=1e-9)[0]
        return float(np.linalg.norm(rows[0]))


class _Looked:
    """A rim with a step of light: what it leaves of the light seen, and how that changes."""

    def __init__(self, rim: _Rim, p: Vector) -> None:
        """Work out the two sides of the step; see `_Rim.at`."""
        self.rim, self.p = rim, p
        from_rim = (p[:-_ACROSS] @ rim.shapes)[:, None] - rim.offset
        # distances from the steps [spread], how much of each side is seen, and their light
        self.to_within = from_rim / np.exp(p[-6])
        self.to_upon = (from_rim + np.exp(p[-5])) / np.exp(p[-6])
        self.chamfer = rim.level * (p[-4:-1] @ rim.shapes[:3])[:, None]
        self.around = rim.beyond + rim.level * p[-1] * (rim.offset - _BEYOND_PX)
        self.upon, self.within = special.ndtr(self.to_upon), special.ndtr(self.to_within)
        self.bell = _bell(self.to_within)

    @cached_property
    def left(self) -> Vector:
        """What the rim leaves of the light, shape (A * R,)."""
        rim, spread = self.rim, np.exp(self.p[-6])
        expected = self.around + (self.chamfer - self.around) * self.upon
        expected += (rim.want - self.chamfer) * self.within
        # light that falls or bends where it is cut off comes out of the lens like this
        slope, bend = rim.bent
        drawn = spread * self.bell * (slope + bend * spread * self.to_within)
        return np.asarray(rim.light - expected + drawn).ravel()

    def slopes(self) -> NDArray[np.float64]:
        """Derivatives of `left`, shape (A * R, P)."""
        rim, p, to = self.rim, self.p, self.to_within
        bell, (slope, bend), spread = self.bell, rim.bent, np.exp(p[-6])
        first = (self.chamfer - self.around) * _bell(self.to_upon)
        second = (rim.want - self.chamfer) * bell
        second += spread * bell * (slope * to + bend * spread * (to**2 - 1))
        found = np.empty((*rim.light.shape, p.size))
        found[..., :-_ACROSS] = ((first + second) / -spread)[..., None] * rim.shapes.T[:, None]
        found[..., -6] = first * self.to_upon + second * to
        found[..., -6] += spread * bell * (slope + 2 * bend * spread * to)
        found[..., -5] = first * np.exp(p[-5]) / -spread
        told = rim.level * (self.within - self.upon)
        found[..., -4:-1] = told[..., None] * rim.shapes[:3].T[:, None]
        found[..., -1] = rim.level * (rim.offset - _BEYOND_PX) * (self.upon - 1)
        return found.reshape(-1, p.size)


def _bell(at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Density of the normal distribution."""
    return np.asarray(np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi))
